/* Quantities: numbers with units, as people at a bench write them.
 *
 * Inside, every value is in SI: A, V, s, A.s (coulomb), J, W, ohm; temperature in degrees Celsius
 * and temperature differences in kelvin. Outside (scripts, tables, JSON) values are in bench units:
 * A, V, s, Ah, Wh, W, ohm, degC. A plain number in a script is in bench units, so that what an
 * outcome gave can be used as it is.
 *
 * Unit names are those of the trade and, as synonyms, of UCUM (A.h, W.h, Ohm, Cel). */
#ifndef PERDURE_BASE_QUANTITY_H
#define PERDURE_BASE_QUANTITY_H

#include <stddef.h>

#include "base/error.h"

/* dimension, bench unit, bench unit in SI, what to call it in a message */
#define DIMENSIONS(X)                                                                              \
    X(DIM_NUMBER, "", 1.0, "plain number")                                                         \
    X(DIM_RATIO, "%", 0.01, "percentage")                                                          \
    X(DIM_CURRENT, "A", 1.0, "current")                                                            \
    X(DIM_RATE, "It", 1.0, "multiple of the reference test current")                               \
    X(DIM_VOLTAGE, "V", 1.0, "voltage")                                                            \
    X(DIM_TIME, "s", 1.0, "time")                                                                  \
    X(DIM_CHARGE, "Ah", 3600.0, "charge")                                                          \
    X(DIM_ENERGY, "Wh", 3600.0, "energy")                                                          \
    X(DIM_POWER, "W", 1.0, "power")                                                                \
    X(DIM_RESISTANCE, "ohm", 1.0, "resistance")                                                    \
    X(DIM_TEMPERATURE, "degC", 1.0, "temperature")                                                 \
    X(DIM_TEMPERATURE_DIFFERENCE, "K", 1.0, "temperature difference")                              \
    X(DIM_VOLTAGE_RATE, "V/s", 1.0, "voltage slope")                                               \
    X(DIM_TEMPERATURE_RATE, "K/s", 1.0, "temperature slope")

enum dimension {
#define X(name, unit, si, about) name,
    DIMENSIONS(X)
#undef X
        DIMENSION_COUNT
};

struct quantity {
    double value; /* SI */
    enum dimension dimension;
};

/* Reads "500 mA", "0.2 It", "0.2 C", "16 h", "-5 mV", "2.1 Ah", "20 °C", "20 degC", "85 mohm",
 * "85 mΩ", "1 K/min", "60 %", "3 h 10 min", ISO 8601 durations of fixed length (PT1H, P42D, P6W).
 * The space is optional, the whole text must be used. Errors name the text and the nearest mend. */
int quantity_parse(const char *text, struct quantity *out, struct error *error);

/* The same when the dimension is known. Where a current is wanted, a multiple of It is turned into
 * amperes with `rated_charge` (A.s; 0 when no rating is known, which is then an error): IEC 61434,
 * It [A] = rated capacity [Ah] / 1 h. A "C" after a number means It, never degrees or coulombs. */
int quantity_read(const char *text, enum dimension wanted, double rated_charge, double *si,
                  struct error *error);

/* The step of the last digit written, SI: 3.6 for "1973 mAh", 60 for "4 h 2 min", 0.01 for "1.32
 * V". It is that of the last number; 0 when the text is no quantity. */
double quantity_step(const char *text);

double quantity_to_bench(double si, enum dimension dimension);
double quantity_from_bench(double bench, enum dimension dimension);
const char *dimension_unit(enum dimension dimension);
const char *dimension_name(enum dimension dimension);

/* The dimension and SI factor of a unit's name ("mAh" -> DIM_CHARGE, 3.6). 0 when found. */
int unit_find(const char *unit, enum dimension *dimension, double *factor);

/* Writes a readable text such as "500 mA", "1.95 Ah", "16 h", "85 mohm": four significant digits,
 * slopes a minute, times as span_format. quantity_parse reads it back. Returns buffer. */
char *quantity_format(double si, enum dimension dimension, char *buffer, size_t size);

#endif
