/* Checking requests, serving the page's files, taking answers. */
#include "page/routes.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "live_css.h"
#include "live_html.h"
#include "live_js.h"
#include "page/server.h"

#define JSON_TYPE "application/json"
#define WHO_USUAL "page"

struct talk {
    struct talk *next; /* in routes->asking */
    struct routes *routes;
    struct MHD_Connection *connection;
    struct text body;
    char *reply;
    bool asked, waiting; /* waiting: suspended, and in routes->asking */
};

/* --- responding ------------------------------------------------------------------------------- */

static enum MHD_Result respond(struct MHD_Connection *connection, unsigned status,
                               struct MHD_Response *response, const char *type)
{
    static const char *const always[][2] = {
        {"Content-Security-Policy",
         "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
         "img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
        {"X-Content-Type-Options", "nosniff"},
        {"X-Frame-Options", "DENY"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"Cache-Control", "no-store"},
        {"Connection", "close"}, /* nobody keeps one for later */
    };
    if (!response)
        return MHD_NO;
    for (size_t i = 0; i < sizeof always / sizeof *always; i++)
        MHD_add_response_header(response, always[i][0], always[i][1]);
    MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
    if (status == MHD_HTTP_METHOD_NOT_ALLOWED)
        MHD_add_response_header(response, MHD_HTTP_HEADER_ALLOW, "GET, HEAD, POST");
    enum MHD_Result result = MHD_queue_response(connection, status, response);
    MHD_destroy_response(response);
    return result;
}

static enum MHD_Result respond_text(struct MHD_Connection *connection, unsigned status,
                                    const char *json)
{
    return respond(
        connection, status,
        MHD_create_response_from_buffer(strlen(json), (void *)json, MHD_RESPMEM_MUST_COPY),
        JSON_TYPE);
}

static enum MHD_Result refuse(struct MHD_Connection *connection, unsigned status, const char *what,
                              const char *why, const char *todo)
{
    struct text json = TEXT_EMPTY;
    text_add(&json, "{\"error\":{\"what\":");
    text_add_json_string(&json, what, strlen(what));
    text_add(&json, ",\"why\":");
    text_add_json_string(&json, why, strlen(why));
    text_add(&json, ",\"todo\":");
    text_add_json_string(&json, todo, strlen(todo));
    text_add(&json, "}}\n");
    enum MHD_Result result = respond_text(connection, status, json.bytes);
    text_free(&json);
    return result;
}

/* --- the gate --------------------------------------------------------------------------------- */

struct heads {
    const char *host, *origin, *authorization, *type, *length;
    bool chunked, twice;
};

static enum MHD_Result see_head(void *context, enum MHD_ValueKind kind, const char *key,
                                const char *value)
{
    struct heads *heads = context;
    (void)kind;
    const struct {
        const char *key;
        const char **place;
    } known[] = {{"Host", &heads->host},
                 {"Origin", &heads->origin},
                 {"Authorization", &heads->authorization},
                 {"Content-Type", &heads->type},
                 {"Content-Length", &heads->length}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        if (strcasecmp(key, known[i].key) != 0)
            continue;
        heads->twice |= *known[i].place != NULL;
        *known[i].place = value ? value : "";
    }
    heads->chunked |= strcasecmp(key, "Transfer-Encoding") == 0;
    return MHD_YES;
}

static bool is(const char *a, const char *b)
{
    return strcmp(a, b) == 0;
}

/* "application/json", parameters allowed. */
static bool is_json(const char *type)
{
    size_t length = strlen(JSON_TYPE);
    return type && strncasecmp(type, JSON_TYPE, length) == 0 &&
           (type[length] == '\0' || type[length] == ';' || type[length] == ' ');
}

/* What comes with an answer is looked at before a byte of it is taken. */
static enum MHD_Result admit_answer(struct routes *routes, struct MHD_Connection *connection,
                                    const struct heads *heads, bool *admitted)
{
    if (routes->gate->read_only)
        return refuse(connection, MHD_HTTP_FORBIDDEN, "this page", "it is for reading only",
                      "answer with perdure attend, or begin the engine without --page-read-only");
    if (!gate_token_fits(routes->gate, heads->authorization))
        return refuse(connection, MHD_HTTP_FORBIDDEN, "the token", "it is missing or not the one",
                      "open the address that the engine printed when it began");
    if (!is_json(heads->type))
        return refuse(connection, MHD_HTTP_UNSUPPORTED_MEDIA_TYPE, "the answer",
                      "it is not application/json", "send JSON");
    if (heads->chunked || !heads->length)
        return refuse(connection, MHD_HTTP_LENGTH_REQUIRED, "the answer", "its length is not given",
                      "send Content-Length");
    /* Digits only: the daemon has checked that. */
    if (strlen(heads->length) > 6 || atoi(heads->length) > ROUTES_BODY_MOST)
        return refuse(connection, MHD_HTTP_CONTENT_TOO_LARGE, "the answer", "it is too long",
                      "say it in fewer words");
    *admitted = true;
    return MHD_YES;
}

/* --- answers ---------------------------------------------------------------------------------- */

static void take_out(struct talk *talk)
{
    struct talk **place = &talk->routes->asking;
    while (*place && *place != talk)
        place = &(*place)->next;
    if (*place)
        *place = talk->next;
}

static void wake(struct talk *talk)
{
    talk->waiting = false;
    take_out(talk);
    MHD_resume_connection(talk->connection);
    talk->routes->woken(talk->routes->owner);
}

static void replied(void *owner, const char *reply)
{
    struct talk *talk = owner;
    talk->reply = xstrdup(reply);
    if (talk->waiting)
        wake(talk);
}

/* Nothing but an answer comes in here, whatever else is in what was sent. */
static enum MHD_Result ask(struct talk *talk)
{
    struct routes *routes = talk->routes;
    json_int_t question;
    const char *answer, *who = WHO_USUAL;
    json_t *sent = json_loadb(talk->body.length ? talk->body.bytes : "", talk->body.length,
                              JSON_REJECT_DUPLICATES, NULL);
    if (json_unpack(sent, "{s:I, s:s, s?s}", "question", &question, "answer", &answer, "who",
                    &who)) {
        json_decref(sent);
        return refuse(talk->connection, MHD_HTTP_BAD_REQUEST, "the answer",
                      "it does not say to which question it belongs, or what it is",
                      "reload the page and try again");
    }
    json_t *request = json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", question,
                                "answer", answer, "who", who[0] ? who : WHO_USUAL);
    char *text = json_dumps(request, JSON_COMPACT);
    talk->asked = true;
    routes->ask(routes->owner, text, strlen(text), replied, talk);
    free(text);
    json_decref(request);
    json_decref(sent);
    talk->waiting = true;
    talk->next = routes->asking;
    routes->asking = talk;
    MHD_suspend_connection(talk->connection);
    return MHD_YES;
}

static enum MHD_Result give_reply(struct talk *talk)
{
    int code = 0;
    if (!talk->reply)
        return refuse(talk->connection, MHD_HTTP_SERVICE_UNAVAILABLE, "the engine", "it is ending",
                      "see with perdure attend whether the answer is on record");
    json_t *reply = json_loads(talk->reply, 0, NULL);
    json_t *failure = json_object_get(reply, "error");
    unsigned status = MHD_HTTP_OK;
    if (failure) {
        code = (int)json_integer_value(json_object_get(failure, "code"));
        status = code == ERROR_FAILED  ? MHD_HTTP_UNPROCESSABLE_CONTENT
                 : code == ERROR_USAGE ? MHD_HTTP_BAD_REQUEST
                                       : MHD_HTTP_SERVICE_UNAVAILABLE;
    }
    json_decref(reply);
    return respond_text(talk->connection, status, talk->reply);
}

/* --- the routes ------------------------------------------------------------------------------- */

static enum MHD_Result give_file(struct MHD_Connection *connection, const char *text,
                                 const char *type)
{
    return respond(
        connection, MHD_HTTP_OK,
        MHD_create_response_from_buffer(strlen(text), (void *)text, MHD_RESPMEM_PERSISTENT), type);
}

static enum MHD_Result give_events(struct routes *routes, struct MHD_Connection *connection)
{
    struct MHD_Response *response = stream_join(routes->stream, connection);
    if (!response)
        return refuse(connection, MHD_HTTP_SERVICE_UNAVAILABLE, "this page",
                      "too many are looking at once", "close one elsewhere and try again");
    server_lasts(connection);
    enum MHD_Result result = respond(connection, MHD_HTTP_OK, response, "text/event-stream");
    routes->joined(routes->owner);
    return result;
}

static enum MHD_Result give_session(struct routes *routes, struct MHD_Connection *connection,
                                    const struct heads *heads)
{
    bool good = gate_token_fits(routes->gate, heads->authorization);
    if (heads->authorization && !good && !routes->gate->read_only)
        return refuse(connection, MHD_HTTP_FORBIDDEN, "the token", "it is not the one",
                      "open the address that the engine printed when it began");
    char json[80];
    snprintf(json, sizeof json, "{\"read_only\":%s,\"may_answer\":%s}\n",
             routes->gate->read_only ? "true" : "false",
             good && !routes->gate->read_only ? "true" : "false");
    return respond_text(connection, MHD_HTTP_OK, json);
}

static enum MHD_Result begin(struct routes *routes, struct MHD_Connection *connection,
                             const char *url, const char *method, bool *goes_on)
{
    struct heads heads = {0};
    MHD_get_connection_values(connection, MHD_HEADER_KIND, see_head, &heads);
    if (heads.twice || !heads.host)
        return refuse(connection, MHD_HTTP_BAD_REQUEST, "the request",
                      "a header is missing or there twice", "use a web browser");
    if (!gate_host_fits(routes->gate, heads.host))
        return refuse(connection, MHD_HTTP_MISDIRECTED_REQUEST, "the host", "it is not this one",
                      "open the address that the engine printed when it began");
    if (!gate_origin_fits(heads.origin, heads.host))
        return refuse(connection, MHD_HTTP_FORBIDDEN, "the origin", "another site asks",
                      "open the page itself");
    const bool get = is(method, "GET") || is(method, "HEAD"), post = is(method, "POST");
    const bool answer = is(url, "/answer");
    if (!answer && !is(url, "/") && !is(url, "/live.css") && !is(url, "/live.js") &&
        !is(url, "/events") && !is(url, "/session"))
        return refuse(connection, MHD_HTTP_NOT_FOUND, "the address", "there is nothing here",
                      "open the page itself");
    if (answer ? !post : !get)
        return refuse(connection, MHD_HTTP_METHOD_NOT_ALLOWED, "the request",
                      "that is not done to this address", "open the page itself");
    if (answer)
        return admit_answer(routes, connection, &heads, goes_on);
    if (is(url, "/live.css"))
        return give_file(connection, live_css, "text/css; charset=utf-8");
    if (is(url, "/live.js"))
        return give_file(connection, live_js, "text/javascript; charset=utf-8");
    if (is(url, "/session"))
        return give_session(routes, connection, &heads);
    if (is(url, "/events"))
        return give_events(routes, connection);
    return give_file(connection, live_html, "text/html; charset=utf-8");
}

enum MHD_Result routes_handle(void *owner, struct MHD_Connection *connection, const char *url,
                              const char *method, const char *version, const char *upload,
                              size_t *upload_size, void **context)
{
    struct routes *routes = owner;
    struct talk *talk = *context;
    (void)version;
    if (!talk) {
        bool goes_on = false;
        if (routes->ended)
            return MHD_NO;
        enum MHD_Result result = begin(routes, connection, url, method, &goes_on);
        if (!goes_on)
            return result;
        *context = talk = xcalloc(1, sizeof *talk);
        talk->routes = routes;
        talk->connection = connection;
        return MHD_YES;
    }
    if (*upload_size) {
        if (talk->body.length + *upload_size > ROUTES_BODY_MOST)
            return MHD_NO;
        text_add_bytes(&talk->body, upload, *upload_size);
        *upload_size = 0;
        return MHD_YES;
    }
    return talk->asked ? give_reply(talk) : ask(talk);
}

void routes_completed(void *owner, struct MHD_Connection *connection, void **context,
                      enum MHD_RequestTerminationCode code)
{
    struct routes *routes = owner;
    struct talk *talk = *context;
    (void)connection;
    (void)code;
    if (!talk)
        return;
    if (talk->asked && !talk->reply)
        routes->forget(routes->owner, talk);
    if (talk->waiting)
        take_out(talk);
    text_free(&talk->body);
    free(talk->reply);
    free(talk);
    *context = NULL;
}

void routes_end(struct routes *routes)
{
    routes->ended = true;
    while (routes->asking)
        wake(routes->asking);
}
