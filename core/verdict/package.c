/* The tables of an export, and their descriptor. */
#include "verdict/package.h"

#include <string.h>

#define INSTANT "ISO 8601, UTC"

static const struct package_field models[] = {
    {"name", "string", NULL, "name of the model"},
    {"maker", "string", NULL, "who made it"},
    {"size", "string", NULL, "size, such as AA"},
    {"chemistry", "string", NULL, "chemistry, such as NiMH"},
    {"rated_Ah", "number", "Ah", "rated capacity"},
    {"price", "number", NULL, "price of one cell, in the currency"},
    {"currency", "string", NULL, "currency of the price"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field cells[] = {
    {"label", "string", NULL, "as written on the cell; never changes"},
    {"model", "string", NULL, "its model"},
    {"enrolled_at", "datetime", NULL, "when it came on record; " INSTANT},
    {"reference", "boolean", NULL, "true: it tests the channels, and is in no ranking"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field runs[] = {
    {"run", "integer", NULL, "number of the run"},
    {"parent", "integer", NULL, "the study's run that started it; empty: started by a person"},
    {"kind", "string", NULL, "protocol, study or import (a curve that was logged elsewhere)"},
    {"script", "string", NULL, "name of the script"},
    {"script_hash", "string", NULL, "SHA-256 of the script's text"},
    {"params", "object", NULL, "values set for the script, JSON"},
    {"cell", "string", NULL, "label of the cell; empty for a study"},
    {"channel", "string", NULL, "channel of the bench"},
    {"state", "string", NULL,
     "queued, running, paused, attention (needs a person), done, failed or stopped"},
    {"why", "string", NULL, "why it failed, stopped or needs a person"},
    {"queued_at", "datetime", NULL, "when it was asked for; " INSTANT},
    {"started_at", "datetime", NULL, "when it began; " INSTANT},
    {"ended_at", "datetime", NULL, "when it was over; empty: still open; " INSTANT},
    {"engine_version", "string", NULL, "version of the engine"},
    {"lua_version", "string", NULL, "version of the script language"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field steps[] = {
    {"step", "integer", NULL, "number of the step"},
    {"run", "integer", NULL, "run that it belongs to"},
    {"cell", "string", NULL, "label of the cell"},
    {"channel", "string", NULL, "channel of the bench"},
    {"kind", "string", NULL, "charge, discharge, rest, pulse or read"},
    {"how", "string", NULL, "how its values were obtained, such as simulated or imported"},
    {"started_at", "datetime", NULL, "when it began; " INSTANT},
    {"ended_at", "datetime", NULL, "when it ended; empty: still open; " INSTANT},
    {"charge_Ah", "number", "Ah", "charge that flowed, magnitude"},
    {"energy_Wh", "number", "Wh", "energy that flowed, magnitude"},
    {"duration_s", "number", "s", "duration"},
    {"first_voltage_V", "number", "V", "voltage at its start"},
    {"last_voltage_V", "number", "V", "voltage at its end"},
    {"mean_voltage_V", "number", "V", "mean voltage over time"},
    {"mid_voltage_V", "number", "V", "voltage at half the charge"},
    {"peak_voltage_V", "number", "V", "highest voltage"},
    {"max_temperature_degC", "number", "degC", "highest temperature"},
    {"resistance_ohm", "number", "ohm",
     "resistance: of a pulse by direct current, of a read by alternating current"},
    {"gaps", "integer", NULL, "how many stretches were not observed"},
    {"gap_time_s", "number", "s", "duration of all of them"},
    {"ended_by", "string", NULL, "what ended it, such as voltage or time"},
    {"quality", "string", NULL, "good, gap or void"},
    {"samples", "integer", NULL, "readings on record"},
    {"plan", "object", NULL, "what was to be done, JSON; values in V, A, s"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field results[] = {
    {"run", "integer", NULL, "run that recorded it"},
    {"step", "integer", NULL, "step that it was read from"},
    {"cell", "string", NULL, "label of the cell"},
    {"name", "string", NULL, "what it is, such as capacity"},
    {"value", "number", NULL, "value, in the unit of the same row"},
    {"unit", "string", NULL, "unit of value and uncertainty"},
    {"uncertainty", "number", NULL, "standard uncertainty; empty: not known"},
    {"freedom", "number", NULL, "degrees of freedom of the uncertainty; empty: well known"},
    {"how", "string", NULL, "how it was obtained, such as simulated"},
    {"flags", "string", NULL, "what to keep in mind: gap, void; corrected: typed anew"},
    {"at", "datetime", NULL, "when it was recorded; " INSTANT},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field channels[] = {
    {"session", "integer", NULL, "number of the session: one engine's time at work"},
    {"began_at", "datetime", NULL, "when the session began; " INSTANT},
    {"bench", "string", NULL, "name of the bench file"},
    {"bench_hash", "string", NULL, "SHA-256 of the bench file's text"},
    {"channel", "string", NULL, "channel of the bench"},
    {"how", "string", NULL, "how it obtains values, such as simulated"},
    {"accuracy", "object", NULL,
     "what is stated of it, JSON: an error lies within relative x reading + absolute; V, A, s"},
    {"instruments", "object", NULL, "what it is made of and who that is, JSON"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field readings[] = {
    {"step", "integer", NULL, "step that it belongs to"},
    {"k", "integer", NULL, "0, 1, 2 ... within the step"},
    {"seconds", "number", "s", "since the step's start"},
    {"voltage_V", "number", "V", "cell voltage"},
    {"current_A", "number", "A", "current, positive into the cell"},
    {"temperature_degC", "number", "degC", "temperature; empty: not measured"},
    {NULL, NULL, NULL, NULL},
};

static const struct package_field flat[] = {
    {"cell", "string", NULL, "label of the cell"},
    {"model", "string", NULL, "name of its model"},
    {"maker", "string", NULL, "who made it"},
    {"size", "string", NULL, "size, such as AA"},
    {"chemistry", "string", NULL, "chemistry, such as NiMH"},
    {"rated_Ah", "number", "Ah", "rated capacity"},
    {"price", "number", NULL, "price of one cell, in the currency"},
    {"currency", "string", NULL, "currency of the price"},
    {"run", "integer", NULL, "run that recorded it"},
    {"step", "integer", NULL, "step that it was read from"},
    {"script", "string", NULL, "protocol that recorded it"},
    {"name", "string", NULL, "what it is, such as capacity"},
    {"value", "number", NULL, "value, in the unit of the same row"},
    {"unit", "string", NULL, "unit of value and uncertainty"},
    {"uncertainty", "number", NULL, "standard uncertainty; empty: not known"},
    {"freedom", "number", NULL, "degrees of freedom of the uncertainty; empty: well known"},
    {"coverage", "number", NULL, "coverage factor k for a level of confidence of 95 %"},
    {"expanded", "number", NULL, "expanded uncertainty, k times the standard one"},
    {"percent_of_rating", "number", "%", "of a charge: part of the rated capacity"},
    {"how", "string", NULL, "how it was obtained, such as simulated"},
    {"flags", "string", NULL, "what to keep in mind: gap, void; corrected: typed anew"},
    {"at", "datetime", NULL, "when it was recorded; " INSTANT},
    {NULL, NULL, NULL, NULL},
};

const struct package_table package_tables[PACKAGE_TABLES] = {
    [PACKAGE_MODELS] = {"models", "What was bought.", {"name"}, {{NULL, NULL, NULL}}, models},
    [PACKAGE_CELLS] =
        {"cells", "Each physical cell.", {"label"}, {{"model", "models", "name"}}, cells},
    [PACKAGE_RUNS] = {"runs",
                      "Executions of protocols and studies.",
                      {"run"},
                      {{"cell", "cells", "label"}, {"parent", "", "run"}},
                      runs},
    [PACKAGE_STEPS] = {"steps",
                       "Single actions on one cell and what came of them.",
                       {"step"},
                       {{"run", "runs", "run"}, {"cell", "cells", "label"}},
                       steps},
    [PACKAGE_RESULTS] = {"results",
                         "Named values that runs put on record.",
                         {NULL},
                         {{"run", "runs", "run"},
                          {"step", "steps", "step"},
                          {"cell", "cells", "label"}},
                         results},
    [PACKAGE_CHANNELS] = {"channels",
                          "Channels of the bench as they were in each session.",
                          {"session", "channel"},
                          {{NULL, NULL, NULL}},
                          channels},
    [PACKAGE_READINGS] = {"readings",
                          "Readings of steps, as they were recorded.",
                          {"step", "k"},
                          {{"step", "steps", "step"}},
                          readings},
    [PACKAGE_FLAT] = {"results-flat",
                      "The results again, each row complete in itself.",
                      {NULL},
                      {{NULL, NULL, NULL}},
                      flat},
};

static json_t *describe_field(const struct package_field *field)
{
    json_t *out = json_pack("{s:s, s:s, s:s}", "name", field->name, "type", field->type,
                            "description", field->about);
    if (strcmp(field->type, "datetime") == 0)
        json_object_set_new(out, "format", json_string("any"));
    if (field->unit)
        json_object_set_new(out, "unit", json_string(field->unit));
    return out;
}

static json_t *describe_schema(const struct package_table *table)
{
    json_t *fields = json_array(), *key = json_array(), *references = json_array();
    for (const struct package_field *field = table->fields; field->name; field++)
        json_array_append_new(fields, describe_field(field));
    for (size_t i = 0; i < 2 && table->key[i]; i++)
        json_array_append_new(key, json_string(table->key[i]));
    for (size_t i = 0; i < 3 && table->reference[i].field; i++)
        json_array_append_new(references,
                              json_pack("{s:s, s:{s:s, s:s}}", "fields", table->reference[i].field,
                                        "reference", "resource", table->reference[i].table,
                                        "fields", table->reference[i].of));
    json_t *schema = json_pack("{s:o, s:[s]}", "fields", fields, "missingValues", "");
    if (json_array_size(key))
        json_object_set(schema, "primaryKey", key);
    if (json_array_size(references))
        json_object_set(schema, "foreignKeys", references);
    json_decref(key);
    json_decref(references);
    return schema;
}

static json_t *describe_table(const struct package_table *table)
{
    return json_pack("{s:s, s:s+, s:s, s:s, s:s, s:s, s:s, s:{s:s, s:s, s:s, s:b, s:b}, s:o}",
                     "name", table->name, "path", table->name, ".csv", "description", table->about,
                     "profile", "tabular-data-resource", "format", "csv", "mediatype", "text/csv",
                     "encoding", "utf-8", "dialect", "delimiter", ",", "lineTerminator", "\r\n",
                     "quoteChar", "\"", "doubleQuote", 1, "header", 1, "schema",
                     describe_schema(table));
}

json_t *package_describe(const char *title, const char *about, const char *licence)
{
    json_t *resources = json_array();
    for (int i = 0; i < PACKAGE_TABLES; i++)
        json_array_append_new(resources, describe_table(&package_tables[i]));
    json_t *package = json_pack("{s:s, s:s, s:s, s:s}", "profile", "tabular-data-package", "name",
                                "cell-tests", "title", title, "description", about);
    if (licence)
        json_object_set_new(
            package, "licenses",
            json_pack("[{s:s}]", strstr(licence, "://") ? "path" : "name", licence));
    json_object_set_new(package, "resources", resources);
    return package;
}
