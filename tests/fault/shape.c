/* Each query finds nothing in a sound logbook. */
#include "shape.h"

#include <stddef.h>

/* Samples of both tables, each once or as often as they differ. */
#define SAMPLES                                                                                    \
    "(SELECT step, k, microsecond, microvolt, microampere FROM sample "                            \
    "UNION SELECT step, k, microsecond, microvolt, microampere FROM recent)"

/* Steps with what they have come to; `wanted` is their plan's end of the same name. */
#define STEPS                                                                                      \
    "(SELECT step.*, outcome.*, outcome.step IS NOT NULL AS has_outcome, "                         \
    "plan ->> '$.current' AS current, plan ->> '$.ceiling' AS ceiling "                            \
    "FROM step LEFT JOIN outcome ON outcome.step = step.id)"

static const struct {
    const char *check, *sql;
} checks[] = {
    /* Numbers. */
    {"journal", "SELECT 'numbers with a hole' AS what, run, segment, count(*) AS entries, "
                "min(n) AS first, max(n) AS last FROM journal GROUP BY run, segment "
                "HAVING min(n) <> 1 OR max(n) <> count(*)"},
    {"journal", "SELECT 'segments with a hole' AS what, run, max(segment) AS last, "
                "count(DISTINCT segment) AS segments FROM journal GROUP BY run "
                "HAVING max(journal.segment) + 1 <> count(DISTINCT journal.segment)"},
    {"journal", "SELECT 'the run is not in its last segment' AS what, id, run.segment, "
                "max(journal.segment) AS last FROM run JOIN journal ON journal.run = id "
                "GROUP BY id HAVING run.segment NOT IN (max(journal.segment), "
                "max(journal.segment) + 1)"},
    {"journal", "SELECT 'an entry went on before its outcome' AS what, a.run, a.segment, a.n "
                "FROM journal AS a WHERE outcome IS NULL AND EXISTS (SELECT 1 FROM journal AS b "
                "WHERE b.run = a.run AND (b.segment, b.n) > (a.segment, a.n))"},
    {"journal", "SELECT 'an outcome without its time' AS what, run, segment, n FROM journal "
                "WHERE (outcome IS NULL) <> (outcome_at IS NULL) OR outcome_at < intent_at"},
    {"journal", "SELECT 'done with an open entry' AS what, id, n FROM run JOIN journal "
                "ON journal.run = id WHERE state = 'done' AND outcome IS NULL"},

    /* Samples, and the sums that were committed with them. */
    {"samples", "SELECT 'numbers with a hole' AS what, step, count(*) AS samples, min(k) AS first, "
                "max(k) AS last FROM " SAMPLES " GROUP BY step "
                "HAVING min(k) <> 0 OR max(k) + 1 <> count(*)"},
    {"samples", "SELECT 'not as many as their sums count' AS what, s.id, s.samples AS counted, "
                "count(k) AS there FROM " STEPS " AS s LEFT JOIN " SAMPLES " AS r "
                "ON r.step = s.id GROUP BY s.id HAVING count(k) <> coalesce(s.samples, 0)"},
    {"samples",
     "SELECT 'time goes back' AS what, step, k, microsecond FROM "
     "(SELECT step, k, microsecond, lag(microsecond) OVER (PARTITION BY step ORDER BY k) "
     "AS before FROM " SAMPLES ") WHERE microsecond < before"},

    /* Steps: each journal entry of a step has one, once. */
    {"steps", "SELECT 'begun twice' AS what, run, segment, n, count(*) AS times FROM step "
              "GROUP BY run, segment, n HAVING count(*) > 1"},
    {"steps", "SELECT 'not what the journal asked for' AS what, step.id, step.kind, journal.name "
              "FROM step LEFT JOIN journal USING (run, segment, n) "
              "WHERE journal.name IS NOT step.kind"},
    {"steps", "SELECT 'asked for and not begun' AS what, journal.run, journal.segment, journal.n, "
              "journal.name FROM journal LEFT JOIN step USING (run, segment, n) WHERE name IN "
              "('charge', 'discharge', 'rest', 'pulse', 'read') AND step.id IS NULL "
              "AND coalesce(outcome, '') NOT LIKE '{\"error\"%'"},
    {"steps", "SELECT 'step and journal do not end as one' AS what, s.id, s.ended_by, journal.n "
              "FROM " STEPS " AS s JOIN journal USING (run, segment, n) JOIN run "
              "ON run.id = s.run WHERE (s.ended_at IS NULL) <> (journal.outcome IS NULL) "
              "AND run.state NOT IN ('stopped', 'failed')"},
    {"steps", "SELECT 'open in a run that is over' AS what, s.id, s.run, state FROM " STEPS
              " AS s JOIN run ON run.id = s.run WHERE s.ended_at IS NULL "
              "AND run.ended_at IS NOT NULL"},
    {"steps", "SELECT 'outcome and journal differ' AS what, s.id, s.charge / 3600 AS charge, "
              "journal.outcome FROM " STEPS " AS s JOIN journal USING (run, segment, n) "
              "WHERE journal.outcome IS NOT NULL AND (s.ended_by IS NOT outcome ->> '$.ended_by' "
              "OR s.quality IS NOT outcome ->> '$.quality' OR s.gaps <> outcome ->> '$.gaps' "
              "OR abs(s.charge / 3600 - (outcome ->> '$.charge')) > 1e-12 "
              "OR abs(s.energy / 3600 - (outcome ->> '$.energy')) > 1e-12 "
              "OR abs(s.duration - (outcome ->> '$.duration')) > 1e-9)"},

    /* Time: nothing is counted that the calendar has no room for. */
    {"time", "SELECT 'active and gaps are not the whole' AS what, id, kind, duration, gap_time, "
             "(at - started_at) / 1e6 AS whole FROM " STEPS " WHERE has_outcome "
             "AND duration IS NOT NULL AND abs(duration + "
             "iif(kind = 'rest', 0, gap_time) - (at - started_at) / 1e6) > 3e-6 * (2 + gaps)"},
    {"time", "SELECT 'ended after it was over' AS what, s.id, s.ended_at, outcome_at FROM " STEPS
             " AS s JOIN journal USING (run, segment, n) WHERE s.ended_at > outcome_at"},

    /* Gaps. */
    {"gaps", "SELECT 'gaps and their sum differ' AS what, s.id, s.gap_time, "
             "sum(to_at - from_at) / 1e6 AS summed FROM " STEPS " AS s JOIN gap "
             "ON gap.step = s.id WHERE has_outcome GROUP BY s.id "
             "HAVING abs(s.gap_time - sum(to_at - from_at) / 1e6) > 3e-6 * (1 + count(*))"},
    {"gaps", "SELECT 'gap time without a gap' AS what, id, gaps, gap_time FROM " STEPS
             " AS s WHERE (gaps > 0 OR gap_time > 0) <> "
             "(EXISTS (SELECT 1 FROM gap WHERE gap.step = s.id)) AND has_outcome"},
    {"gaps", "SELECT 'a gap counts twice' AS what, a.step, a.from_at, a.to_at, b.from_at AS "
             "other FROM gap AS a JOIN gap AS b ON b.step = a.step AND b.from_at > a.from_at "
             "AND b.from_at < a.to_at"},
    {"gaps", "SELECT 'a gap of no length' AS what, step, from_at, to_at FROM gap "
             "WHERE to_at <= from_at"},
    {"gaps", "SELECT 'interrupted and not said so' AS what, id, kind, gaps, quality, ended_by "
             "FROM " STEPS " WHERE ended_at IS NOT NULL AND quality <> iif(ended_by IN "
             "('stopped', 'guard') OR (kind = 'pulse' AND gaps > 0), 'void', "
             "iif(gaps > 0, 'gap', 'good'))"},

    /* Ends: met exactly. Time is active time: gaps do not count. */
    {"ends", "SELECT 'by time, at another time' AS what, id, kind, duration, plan FROM " STEPS
             " WHERE ended_by = 'time' AND kind IN ('charge', 'discharge') "
             "AND abs(duration - (plan ->> '$.time')) > 2e-6"},
    {"ends",
     "SELECT 'a rest cut short' AS what, id, duration, plan FROM " STEPS
     " WHERE ended_by = 'time' AND kind = 'rest' AND duration < (plan ->> '$.time') - 2e-6"},
    {"ends", "SELECT 'by charge, at another charge' AS what, id, charge / 3600 AS charge, plan "
             "FROM " STEPS " WHERE ended_by = 'charge' "
             "AND abs(charge / 3600 / (plan ->> '$.charge') - 1) > 1e-6"},
    {"ends", "SELECT 'by energy, at another energy' AS what, id, energy / 3600 AS energy, plan "
             "FROM " STEPS " WHERE ended_by = 'energy' "
             "AND abs(energy / 3600 / (plan ->> '$.energy') - 1) > 1e-4"},
    {"ends", "SELECT 'by voltage, short of it' AS what, id, kind, last_voltage, plan FROM " STEPS
             " WHERE ended_by = 'voltage' AND iif(kind = 'charge', last_voltage < "
             "(plan ->> '$.voltage') - 1e-9, last_voltage > (plan ->> '$.voltage') + 1e-9)"},

    /* A constant current for so long is so much charge: counted once. */
    {"charge", "SELECT 'not the current times the time' AS what, id, kind, charge, "
               "abs(current) * duration AS product FROM " STEPS " WHERE charge IS NOT NULL "
               "AND current IS NOT NULL AND ceiling IS NULL AND kind IN ('charge', 'discharge') "
               "AND abs(charge - abs(current) * duration) > 1e-5 * (1 + charge)"},

    /* The cells of the scene have 0.05 ohm; at most so much more comes from their open-circuit
     * voltage, which moves with the charge of the second level. */
    {"ends", "SELECT 'a resistance that no cell here has' AS what, id, resistance FROM " STEPS
             " WHERE kind = 'pulse' AND ended_by = 'time' AND (resistance NOT BETWEEN 0.0499 AND "
             "0.0501 + 0.02 * (duration - (plan ->> '$.level_1.time')) / "
             "(plan ->> '$.level_2.time') OR (gaps > 0) <> (resistance IS NULL))"},

    /* Results, notes and questions: one for each entry, with its values. */
    {"results", "SELECT 'not what the script recorded' AS what, run, segment, n, result.name, "
                "value, journal.args FROM result LEFT JOIN journal USING (run, segment, n) WHERE "
                "journal.name IS NOT 'record' OR outcome IS NULL OR value <> (args ->> '$.value') "
                "OR unit <> (args ->> '$.unit') OR result.name <> (args ->> '$.name')"},
    {"results", "SELECT 'recorded and not there' AS what, run, segment, n, args FROM journal "
                "LEFT JOIN result USING (run, segment, n) WHERE journal.name = 'record' "
                "AND outcome IS NOT NULL AND value IS NULL"},
    {"results", "SELECT 'does not say how good its step was' AS what, result.run, n, name, flags, "
                "quality FROM result JOIN outcome ON outcome.step = result.step "
                "WHERE flags <> iif(quality = 'good', '', quality)"},
    {"results", "SELECT 'now() is not the time on record' AS what, result.run, result.n, value, "
                "before.outcome_at FROM result JOIN journal AS before ON before.run = result.run "
                "AND before.segment = result.segment AND before.n = result.n - 1 "
                "WHERE result.name = 'clock' AND abs(value - before.outcome_at / 1e6) > 1e-5"},
    {"notes", "SELECT 'notes asked for and notes there' AS what, id, (SELECT count(*) FROM event "
              "WHERE event.run = run.id AND level = 'note') AS there, (SELECT count(*) FROM "
              "journal WHERE journal.run = run.id AND name = 'note' AND outcome IS NOT NULL) AS "
              "asked FROM run WHERE asked <> there"},
    {"questions", "SELECT 'asked and not there' AS what, journal.run, journal.n FROM journal "
                  "LEFT JOIN question USING (run, segment, n) WHERE name = 'ask' "
                  "AND question.id IS NULL"},
    {"questions", "SELECT 'the answer is not what was said' AS what, journal.run, journal.n, "
                  "outcome FROM question JOIN journal USING (run, segment, n) "
                  "WHERE outcome IS NOT NULL AND outcome IS NOT (SELECT answer FROM answer WHERE "
                  "question = question.id AND at <= outcome_at ORDER BY id DESC LIMIT 1)"},

    /* A command that was killed did all of what it was to do, or nothing. */
    {"cells", "SELECT 'enrolled in part' AS what, name, count(cell.id) AS cells FROM model "
              "LEFT JOIN cell ON cell.model = model.id WHERE name LIKE 'Late %' "
              "GROUP BY model.id HAVING count(cell.id) <> 3"},

    /* Runs: none ends but by its own script or by a person. */
    {"runs", "SELECT 'ended badly' AS what, id, script_name, state, why FROM run "
             "WHERE state IN ('failed', 'attention')"},
    {"runs", "SELECT 'one channel, two runs' AS what, channel, count(*) AS runs FROM run "
             "WHERE state IN ('running', 'paused', 'attention') AND started_at IS NOT NULL AND "
             "channel <> '' GROUP BY channel HAVING count(*) > 1"},
};

void shape_check(sqlite3 *book, struct findings *findings)
{
    for (size_t i = 0; i < sizeof(checks) / sizeof(checks[0]); i++)
        query_none(book, findings, checks[i].check, checks[i].sql);
}
