/* Encodes with libqrencode and joins the dark modules of a row into one rectangle each. */
#include "report/qr.h"

#include <qrencode.h>
#include <string.h>

/* The assignment of character sets to QR codes (AIM ECI): 26 is UTF-8. Without it a reader
 * guesses. */
#define ECI_UTF8 26

static bool is_ascii(const char *string)
{
    for (; *string != '\0'; string++)
        if ((unsigned char)*string >= 0x80)
            return false;
    return true;
}

static QRcode *encode(const char *string, QRecLevel level)
{
    if (is_ascii(string))
        return QRcode_encodeString(string, 0, level, QR_MODE_8, 1);
    QRinput *input = QRinput_new2(0, level);
    if (input == NULL)
        return NULL;
    QRcode *code = NULL;
    if (QRinput_appendECIheader(input, ECI_UTF8) == 0 &&
        QRinput_append(input, QR_MODE_8, (int)strlen(string), (const unsigned char *)string) == 0)
        code = QRcode_encodeInput(input);
    QRinput_free(input);
    return code;
}

bool qr_path(struct text *out, const char *string, int *side)
{
    static const QRecLevel levels[] = {QR_ECLEVEL_Q, QR_ECLEVEL_M, QR_ECLEVEL_L};
    size_t length = strlen(string);
    if (length == 0 || length > 2953) /* bytes in the largest code */
        return false;
    QRcode *best = encode(string, QR_ECLEVEL_H);
    for (size_t i = 0; i < sizeof levels / sizeof *levels; i++) {
        QRcode *weaker = encode(string, levels[i]);
        if (weaker != NULL && (best == NULL || weaker->width < best->width)) {
            if (best != NULL)
                QRcode_free(best);
            best = weaker;
        } else if (weaker != NULL) {
            QRcode_free(weaker);
        }
    }
    if (best == NULL)
        return false;
    *side = best->width;
    for (int row = 0; row < best->width; row++)
        for (int from = 0, to; from < best->width; from = to + 1) {
            const unsigned char *modules = best->data + row * best->width;
            for (to = from; to < best->width && (modules[to] & 1); to++)
                ;
            if (to > from)
                text_addf(out, "M%d %dh%dv1h-%dz", from, row, to - from, to - from);
        }
    QRcode_free(best);
    return true;
}
