/* Whatever bytes a client sends, in whatever pieces, and wherever it leaves: the page's server goes
 * on, answers with a status or hangs up, passes nothing but answers to the engine and only with the
 * token, and serves the next good request.
 *
 * The first two bytes of the input choose how it is cut into pieces, how it begins and when the
 * client leaves; the others are bytes or, below 192, pieces of HTTP, so that many inputs get past
 * the first line. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "page/rig.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

#define GOOD_EVERY 500
#define INPUT_MOST 24000

#define must(condition)                                                                            \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #condition);         \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

static struct rig rig;
static char input[INPUT_MOST], text[65536];

/* HOST and TOKEN stand for the real ones. */
static const char *const pieces[] = {
    "GET ",
    "POST ",
    "HEAD ",
    "PUT ",
    "OPTIONS ",
    "/",
    "/events",
    "/answer",
    "/session",
    "/live.js",
    " HTTP/1.1\r\n",
    " HTTP/1.0\r\n",
    " HTTP/9.9\r\n",
    "\r\n",
    "\r\n\r\n",
    "\n",
    "\n\n",
    "\r",
    "\t",
    "Host: HOST\r\n",
    "Host: evil.example\r\n",
    "Host: ",
    "hOST:HOST\r\n",
    "Origin: http://HOST\r\n",
    "Origin: null\r\n",
    "Authorization: Bearer TOKEN\r\n",
    "Authorization: Bearer 0\r\n",
    "Authorization: ",
    "Content-Type: application/json\r\n",
    "Content-Type: text/plain\r\n",
    "Content-Length: 0\r\n",
    "Content-Length: 33\r\n",
    "Content-Length: -1\r\n",
    "Content-Length: 99999999999999999999\r\n",
    "Content-Length: 4096\r\n",
    "Content-Length: ",
    "Transfer-Encoding: chunked\r\n",
    "Transfer-Encoding: identity, chunked\r\n",
    "1\r\na\r\n",
    "ffffffffffffffff\r\n",
    "0\r\n\r\n",
    "Expect: 100-continue\r\n",
    "Connection: close\r\n",
    "Connection: keep-alive\r\n",
    "Connection: Upgrade\r\nUpgrade: h2c\r\n",
    "Range: bytes=0-1\r\n",
    "Cookie: a=b; c=\"d\r\n",
    "Accept: text/event-stream\r\n",
    "Last-Event-ID: 9\r\n",
    " folded\r\n",
    "{\"question\":1,\"answer\":\"1 mAh\"}  ",
    "{\"question\":",
    "\"answer\":\"",
    "{",
    "}",
    "[[[[[[[[",
    "\\u0000",
    "%00",
    "%2e%2e/",
    "?token=TOKEN",
    "#token=",
    "http://HOST/",
    "*",
    ":",
    " ",
    "\x80",
    "GET / HTTP/1.1\r\nHost: HOST\r\n\r\n",
    "GET /events HTTP/1.1\r\nHost: HOST\r\n\r\n",
    "POST /answer HTTP/1.1\r\nHost: HOST\r\nAuthorization: Bearer TOKEN\r\nContent-Type: "
    "application/json\r\nContent-Length: 33\r\n\r\n{\"question\":1,\"answer\":\"1 mAh\"}  ",
    "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
};
#define PIECES (sizeof pieces / sizeof *pieces)

/* Half of the inputs begin like this, so that they get as far as what lies behind the gate. */
static const char *const openings[] = {
    "",
    "GET /events HTTP/1.1\r\nHost: HOST\r\n",
    "POST /answer HTTP/1.1\r\nHost: HOST\r\nAuthorization: Bearer TOKEN\r\n",
    "POST /answer HTTP/1.1\r\nHost: HOST\r\nAuthorization: Bearer TOKEN\r\n"
    "Content-Type: application/json\r\n",
    "GET /session HTTP/1.1\r\nHost: HOST\r\n",
    "POST /answer HTTP/1.1\r\nHost: HOST\r\nAuthorization: Bearer TOKEN\r\nContent-Type: "
    "application/json\r\nContent-Length: 33\r\n\r\n{\"question\":1,\"answer\":\"1 mAh\"}  ",
    "GET /events HTTP/1.1\r\nHost: HOST\r\n\r\n",
    "",
};

static size_t add(size_t length, const char *from, size_t count)
{
    if (length + count > sizeof input)
        return length;
    memcpy(input + length, from, count);
    return length + count;
}

static size_t add_piece(size_t length, const char *piece)
{
    char host[32];
    snprintf(host, sizeof host, "127.0.0.1:%d", rig.port);
    while (*piece) {
        const char *word = NULL;
        if (strncmp(piece, "HOST", 4) == 0 && (piece[4] == '\r' || piece[4] == '/')) {
            word = host;
            piece += 4;
        } else if (strncmp(piece, "TOKEN", 5) == 0) {
            word = rig.gate.token;
            piece += 5;
        }
        length = word ? add(length, word, strlen(word)) : add(length, piece++, 1);
    }
    return length;
}

static void check_asked(void)
{
    must(strncmp(rig.request, "{\"act\":\"answer\",\"question\":", 27) == 0);
}

static void good_one(void)
{
    char request[80];
    int length = snprintf(request, sizeof request,
                          "GET /session HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", rig.port);
    rig_exchange(&rig, request, (size_t)length, text, sizeof text, 5);
    must(rig_status(text) == 200);
}

static void end(void)
{
    good_one();
    printf("%d answers came through, %d readers of the stream\n", rig.asked, rig.joined);
    rig_close(&rig);
}

/* One that asks with the token that is in the input; nothing else comes to the engine. */
static void look_after_engine(int *asked)
{
    if (rig.asked == *asked)
        return;
    *asked = rig.asked;
    check_asked();
    if (rig.talk && rig.asked % 3)
        rig_reply(&rig,
                  rig.asked % 2
                      ? "{\"reply\":{}}\n"
                      : "{\"error\":{\"code\":1,\"what\":\"\",\"why\":\"\",\"todo\":\"\"}}\n");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static long count;
    static int asked;
    size_t length = 0;
    if (size < 3)
        return 0;
    if (!rig.loop) {
        rig_open(&rig, 1);
        atexit(end);
    }
    length = add_piece(length, openings[bytes[1] / 4 % 8]);
    for (size_t i = 2; i < size; i++)
        length = bytes[i] < 192 ? add_piece(length, pieces[bytes[i] % PIECES])
                                : add(length, (const char *)bytes + i, 1);
    size_t cut = 1 + bytes[0] * (size_t)bytes[0];
    const bool leaves = bytes[1] % 4 == 0;
    int fd = rig_connect(&rig);
    bool there = true;
    text[0] = '\0';
    for (size_t at = 0; at < length && there; at += cut) {
        rig_send(fd, input + at, length - at < cut ? length - at : cut);
        rig_turn(&rig, 2);
        there = rig_receive(fd, text, sizeof text);
        look_after_engine(&asked);
        if (at / cut > 30)
            cut *= 2; /* not for ever */
    }
    if (count % 16 == 0)
        rig_publish(&rig, (enum stream_part)(count / 16 % STREAM_PARTS), "{\"something\":[1,2,3]}");
    if (!leaves)
        rig_turn(&rig, 6);
    there = there && rig_receive(fd, text, sizeof text);
    look_after_engine(&asked);
    must(text[0] == '\0' || rig_status(text) >= 100);
    rig_hang_up(fd);
    rig_reply_older(&rig, "{\"reply\":{}}\n"); /* an engine replies to all, sooner or later */
    if (rig.talk && bytes[1] % 3 == 0)
        rig_reply(&rig, "{\"reply\":{}}\n"); /* to one that has left */
    rig_turn(&rig, 2);
    if (++count % GOOD_EVERY == 0)
        good_one();
    return 0;
}
