-- The logbook: everything that was done to every cell, in one SQLite file.
--
-- How to read it with any SQLite tool. Tables are singular and hold what was recorded, in SI: V, A,
-- s, A.s (coulomb), J, ohm; temperatures in degrees Celsius. Views are plural (and `reading`) and
-- show the same in bench units: Ah, Wh, ISO 8601 times. Start with the views.
--
--   every ..._at    an instant: integer microseconds since 1970-01-01T00:00:00Z (UTC)
--   run, step ...   a reference to the id of the table of that name
--   segment, n      the place in a run's journal: segment from 0, number from 1 within it; 0 and below is
--                   what the engine itself had to ask: to put a cell in, to look at it
--   NULL            not known, not measured, or without meaning here
--
-- Rows are added and completed, not rewritten: what was once recorded stays. But for what follows from
-- an answer that is corrected (a journal entry's outcome, what a script recorded by it): that is worked
-- out anew, and the figures that held before become events.

PRAGMA application_id = 0x50455244; -- 'PERD'
PRAGMA user_version = 2;

-- What is tested -----------------------------------------------------------------------------------

CREATE TABLE logbook ( -- one row: this file itself
    id          INTEGER PRIMARY KEY CHECK (id = 1),
    created_at  INTEGER NOT NULL,
    seed        TEXT NOT NULL,             -- unsigned 64-bit decimal; every random draw follows from it
    clock       TEXT NOT NULL DEFAULT '',  -- 'real', 'virtual', 'x60'; '' until the first engine decides
    utc_origin  INTEGER NOT NULL DEFAULT 0, -- a scaled clock: the instant it showed...
    real_origin INTEGER NOT NULL DEFAULT 0, -- ...at this true instant; microseconds UTC
    zone        TEXT NOT NULL DEFAULT 'UTC' -- whose calendar days and hours count: 'Europe/Berlin'
) STRICT;

CREATE TABLE model ( -- what was bought
    id           INTEGER PRIMARY KEY,
    name         TEXT NOT NULL COLLATE NOCASE UNIQUE,
    maker        TEXT NOT NULL DEFAULT '',
    size         TEXT NOT NULL,          -- 'AA'
    chemistry    TEXT NOT NULL,          -- 'NiMH'
    rated_charge REAL NOT NULL,          -- rated capacity, A.s
    price        REAL,                   -- of one cell
    currency     TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE cell ( -- one physical cell
    id          INTEGER PRIMARY KEY,
    label       TEXT NOT NULL COLLATE NOCASE UNIQUE, -- as written on it; never changes
    model       INTEGER NOT NULL REFERENCES model (id),
    enrolled_at INTEGER NOT NULL,
    reference   INTEGER NOT NULL DEFAULT 0 CHECK (reference IN (0, 1)) -- 1: it tests the channels
) STRICT;
CREATE INDEX cell_of_model ON cell (model);

-- What is done -------------------------------------------------------------------------------------

CREATE TABLE script ( -- the text of a protocol, study or module, kept once
    hash TEXT NOT NULL PRIMARY KEY,  -- SHA-256 of the text, hexadecimal
    name TEXT NOT NULL,              -- the file's name when it was first taken in
    text TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE session ( -- one engine's life on this logbook
    id         INTEGER PRIMARY KEY,
    began_at   INTEGER NOT NULL,
    bench_name TEXT NOT NULL,
    bench_hash TEXT NOT NULL,        -- of the bench file's text
    version    TEXT NOT NULL,        -- the engine's
    ended_at   INTEGER,              -- NULL: still at work, or ended without a word
    ended_why  TEXT
) STRICT;

CREATE TABLE session_channel ( -- a channel of the bench as it was in that session
    session     INTEGER NOT NULL REFERENCES session (id),
    channel     TEXT NOT NULL,
    how         TEXT NOT NULL,       -- how it obtains values: 'simulated'
    accuracy    TEXT NOT NULL,       -- JSON: what is stated, per voltage, current, temperature; SI
    instruments TEXT NOT NULL,       -- JSON: role -> instrument, and its identity where it told one
    PRIMARY KEY (session, channel)
) STRICT, WITHOUT ROWID;

CREATE TABLE run ( -- one execution of a protocol or a study
    id             INTEGER PRIMARY KEY,
    parent         INTEGER REFERENCES run (id), -- the study's run that started it...
    parent_segment INTEGER,                     -- ...by this entry of its journal
    parent_n       INTEGER,
    kind           TEXT NOT NULL,               -- 'protocol', 'study'
    script_name    TEXT NOT NULL,
    script_hash    TEXT NOT NULL REFERENCES script (hash),
    params         TEXT NOT NULL,               -- JSON object: the values set for the script
    cell           INTEGER REFERENCES cell (id), -- NULL for a study
    channel        TEXT NOT NULL DEFAULT '',    -- of the bench; '' while it has none
    seed           TEXT NOT NULL,               -- unsigned 64-bit decimal
    state          TEXT NOT NULL CHECK (state IN
                   ('queued', 'running', 'paused', 'attention', 'done', 'failed', 'stopped')),
    segment        INTEGER NOT NULL DEFAULT 0,  -- the journal's segment now written
    segment_state  TEXT,                        -- JSON that this segment began with
    segment_at     INTEGER,                     -- when it began
    queued_at      INTEGER NOT NULL,
    due_at         INTEGER,                     -- not to begin before; NULL: at once
    due_civil      TEXT,                        -- the same as a wall clock shows it...
    due_zone       TEXT,                        -- ...in this zone
    started_at     INTEGER,
    ended_at       INTEGER,                     -- NULL while the run is open
    why            TEXT,                        -- why it failed, stopped or needs attention
    engine_version TEXT NOT NULL DEFAULT '',
    lua_version    TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX run_open_cell ON run (cell) WHERE ended_at IS NULL AND cell IS NOT NULL;
CREATE INDEX run_of_cell ON run (cell);
CREATE INDEX run_open ON run (queued_at) WHERE ended_at IS NULL;

CREATE INDEX run_of_parent ON run (parent) WHERE parent IS NOT NULL;

CREATE TABLE study_cell ( -- the cells of a study
    run  INTEGER NOT NULL REFERENCES run (id),
    cell INTEGER NOT NULL REFERENCES cell (id),
    PRIMARY KEY (run, cell)
) STRICT, WITHOUT ROWID;

CREATE TABLE run_module ( -- a module that the run's script required, pinned
    run  INTEGER NOT NULL REFERENCES run (id),
    name TEXT NOT NULL,
    hash TEXT NOT NULL REFERENCES script (hash),
    PRIMARY KEY (run, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE journal ( -- everything a script asked for, in order, and what came of it
    run        INTEGER NOT NULL REFERENCES run (id),
    segment    INTEGER NOT NULL,
    n          INTEGER NOT NULL,
    name       TEXT NOT NULL,        -- 'charge', 'record'
    args       TEXT NOT NULL,        -- canonical JSON
    intent_at  INTEGER NOT NULL,
    outcome    TEXT,                 -- JSON; NULL while it is not done
    outcome_at INTEGER,
    PRIMARY KEY (run, segment, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE step ( -- one physical action on one cell: what was to be done
    id         INTEGER PRIMARY KEY,
    run        INTEGER NOT NULL,
    segment    INTEGER NOT NULL,
    n          INTEGER NOT NULL,     -- the journal entry it answers
    cell       INTEGER REFERENCES cell (id),
    channel    TEXT NOT NULL,
    kind       TEXT NOT NULL,        -- 'charge', 'discharge', 'rest', 'pulse', 'read'
    how        TEXT NOT NULL,        -- how its values were obtained: 'simulated'
    plan       TEXT NOT NULL,        -- JSON: drive, ends, record
    started_at INTEGER NOT NULL,
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;
CREATE INDEX step_of_journal ON step (run, segment, n);
CREATE INDEX step_of_cell ON step (cell);

CREATE TABLE outcome ( -- what a step has come to: so far, or in the end
    step            INTEGER PRIMARY KEY REFERENCES step (id),
    at              INTEGER NOT NULL, -- as of; microseconds UTC
    ended_at        INTEGER,          -- NULL while the step is open
    samples         INTEGER NOT NULL, -- how many are on record
    charge          REAL,             -- A.s, magnitude
    energy          REAL,             -- J, magnitude
    duration        REAL,             -- s
    first_voltage   REAL,             -- V
    last_voltage    REAL,
    mean_voltage    REAL,             -- over time
    mid_voltage     REAL,             -- at half the charge
    peak_voltage    REAL,
    max_temperature REAL,             -- degC
    resistance      REAL,             -- ohm: of a pulse by direct current, of a read by alternating current
    gaps            INTEGER NOT NULL, -- how many stretches were not observed
    gap_time        REAL NOT NULL,    -- s, all of them
    ended_by        TEXT,             -- 'voltage', 'time', ...
    quality         TEXT,             -- 'good', 'gap', 'void'
    progress        TEXT              -- of an open step: what takes it up again
) STRICT;

CREATE TABLE placement ( -- what a study did with a cell outside of runs
    id      INTEGER PRIMARY KEY,
    run     INTEGER NOT NULL,        -- the study's
    segment INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    cell    INTEGER NOT NULL REFERENCES cell (id),
    kind    TEXT NOT NULL CHECK (kind IN ('arm', 'shelf', 'service', 'withdrawn')),
    label   TEXT NOT NULL DEFAULT '', -- the arm's name
    detail  TEXT NOT NULL DEFAULT '{}', -- JSON: state of charge, temperature, cycles a day, the reason
    at      INTEGER NOT NULL,
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;
CREATE INDEX placement_of_cell ON placement (cell);

-- What was seen ------------------------------------------------------------------------------------

-- Samples are appended to `recent` and moved from there, some hundred of one step at a time, into
-- `sample`, where those of one step lie together. A row of `recent` whose (step, k) is in `sample`
-- has been moved and only waits for removal: read the view `reading`, which shows each sample once.

CREATE TABLE sample (
    step        INTEGER NOT NULL,    -- step (id)
    k           INTEGER NOT NULL,    -- 0, 1, 2 ... within the step, without a hole
    microsecond INTEGER NOT NULL,    -- since the step's start
    microvolt   INTEGER NOT NULL,
    microampere INTEGER NOT NULL,    -- positive into the cell
    millidegree INTEGER,             -- degC / 1000
    PRIMARY KEY (step, k)
) STRICT, WITHOUT ROWID;

CREATE TABLE recent ( -- as `sample`, in order of arrival
    row         INTEGER PRIMARY KEY,
    step        INTEGER NOT NULL,
    k           INTEGER NOT NULL,
    microsecond INTEGER NOT NULL,
    microvolt   INTEGER NOT NULL,
    microampere INTEGER NOT NULL,
    millidegree INTEGER
) STRICT;

CREATE TABLE gap ( -- a stretch of a step that nobody observed
    step    INTEGER NOT NULL REFERENCES step (id),
    from_at INTEGER NOT NULL,
    to_at   INTEGER NOT NULL,
    why     TEXT NOT NULL,
    PRIMARY KEY (step, from_at, to_at)
) STRICT, WITHOUT ROWID;

-- What people read off -----------------------------------------------------------------------------

CREATE TABLE result ( -- a named value that a run put on record
    run         INTEGER NOT NULL,
    segment     INTEGER NOT NULL,
    n           INTEGER NOT NULL,    -- the journal entry that recorded it
    cell        INTEGER REFERENCES cell (id),
    step        INTEGER REFERENCES step (id), -- the last step before it
    name        TEXT NOT NULL,       -- 'capacity'
    value       REAL NOT NULL,       -- in `unit`
    unit        TEXT NOT NULL,       -- 'Ah'
    uncertainty REAL,                -- standard uncertainty, same unit
    freedom     REAL,                -- its degrees of freedom; NULL: well known
    how         TEXT NOT NULL,       -- how it was obtained: 'simulated'
    flags       TEXT NOT NULL DEFAULT '', -- '', 'gap'
    at          INTEGER NOT NULL,
    PRIMARY KEY (run, segment, n),
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT, WITHOUT ROWID;
CREATE INDEX result_of_cell ON result (cell, name);

CREATE TABLE event ( -- what happened to a run or to the engine, in words
    id    INTEGER PRIMARY KEY,
    at    INTEGER NOT NULL,
    run   INTEGER REFERENCES run (id),
    step  INTEGER REFERENCES step (id),
    level TEXT NOT NULL CHECK (level IN ('info', 'note', 'warning', 'error')),
    text  TEXT NOT NULL
) STRICT;
CREATE INDEX event_of_run ON event (run);

CREATE TABLE question ( -- something a person was asked to do or to read off
    id       INTEGER PRIMARY KEY,
    run      INTEGER NOT NULL,
    segment  INTEGER NOT NULL,
    n        INTEGER NOT NULL,       -- the journal entry that waits for it
    text     TEXT NOT NULL,
    expects  TEXT NOT NULL,          -- JSON: kind, unit, least, most, choices
    asked_at INTEGER NOT NULL,
    UNIQUE (run, segment, n),
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE TABLE answer ( -- what was said; the latest holds, a correction is a new row
    id       INTEGER PRIMARY KEY,
    question INTEGER NOT NULL REFERENCES question (id),
    answer   TEXT NOT NULL,          -- JSON
    who      TEXT NOT NULL,
    at       INTEGER NOT NULL
) STRICT;
CREATE INDEX answer_to ON answer (question);

CREATE TABLE notice ( -- what the outside was told of: that an appointment is due
    run     INTEGER NOT NULL,
    segment INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    what    TEXT NOT NULL,           -- 'due', 'overdue', 'question', 'lost'
    at      INTEGER NOT NULL,
    came_of TEXT NOT NULL DEFAULT '', -- how the command ended: 'exit 0'; '' while it runs
    PRIMARY KEY (run, segment, n, what)
) STRICT, WITHOUT ROWID;

-- Views: the same for reading ----------------------------------------------------------------------

CREATE VIEW reading AS -- every sample once, in V, A, degC
SELECT sample.step, k,
       strftime('%Y-%m-%dT%H:%M:%fZ', (started_at + microsecond) / 1e6, 'unixepoch') AS at,
       microsecond / 1e6 AS seconds, -- since the step's start
       microvolt / 1e6 AS V, microampere / 1e6 AS A, millidegree / 1e3 AS degC
  FROM sample JOIN step ON step.id = sample.step
UNION ALL
SELECT recent.step, k,
       strftime('%Y-%m-%dT%H:%M:%fZ', (started_at + microsecond) / 1e6, 'unixepoch'),
       microsecond / 1e6, microvolt / 1e6, microampere / 1e6, millidegree / 1e3
  FROM recent JOIN step ON step.id = recent.step
 WHERE NOT EXISTS (SELECT 1 FROM sample WHERE sample.step = recent.step AND sample.k = recent.k);

CREATE VIEW cells AS
SELECT label, name AS model, maker, size, chemistry, rated_charge / 3600 AS rated_Ah,
       strftime('%Y-%m-%dT%H:%M:%SZ', enrolled_at / 1000000, 'unixepoch') AS enrolled,
       (SELECT count(*) FROM run WHERE run.cell = cell.id) AS runs,
       (SELECT id FROM run WHERE run.cell = cell.id AND ended_at IS NULL) AS open_run
  FROM cell JOIN model ON model.id = cell.model;

CREATE VIEW runs AS
SELECT run.id AS run, kind, script_name AS script, label AS cell, channel, state, params,
       strftime('%Y-%m-%dT%H:%M:%SZ', queued_at / 1000000, 'unixepoch') AS queued,
       strftime('%Y-%m-%dT%H:%M:%SZ', started_at / 1000000, 'unixepoch') AS started,
       strftime('%Y-%m-%dT%H:%M:%SZ', ended_at / 1000000, 'unixepoch') AS ended,
       why
  FROM run LEFT JOIN cell ON cell.id = run.cell;

CREATE VIEW outcomes AS
SELECT step.id AS step, run, segment, n, label AS cell, channel, kind, how,
       strftime('%Y-%m-%dT%H:%M:%SZ', started_at / 1000000, 'unixepoch') AS started,
       strftime('%Y-%m-%dT%H:%M:%SZ', ended_at / 1000000, 'unixepoch') AS ended,
       charge / 3600 AS charge_Ah, energy / 3600 AS energy_Wh, duration / 3600 AS duration_h,
       first_voltage AS first_voltage_V, last_voltage AS last_voltage_V,
       mean_voltage AS mean_voltage_V, mid_voltage AS mid_voltage_V,
       peak_voltage AS peak_voltage_V, max_temperature AS max_temperature_degC,
       resistance AS resistance_ohm, gaps, gap_time AS gap_time_s, ended_by, quality, samples
  FROM step LEFT JOIN outcome ON outcome.step = step.id LEFT JOIN cell ON cell.id = step.cell;

CREATE VIEW results AS
SELECT label AS cell, model.name AS model, result.name, value, unit, uncertainty,
       CASE unit WHEN 'Ah' THEN 100 * value * 3600 / rated_charge END AS percent_of_rating, how, flags,
       result.run, result.step,
       strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000000, 'unixepoch') AS recorded
  FROM result LEFT JOIN cell ON cell.id = result.cell LEFT JOIN model ON model.id = cell.model;

CREATE VIEW questions AS
SELECT question.id AS question, question.run, question.text, expects,
       strftime('%Y-%m-%dT%H:%M:%SZ', asked_at / 1000000, 'unixepoch') AS asked,
       answer, who, strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000000, 'unixepoch') AS answered
  FROM question
  LEFT JOIN answer ON answer.id = (SELECT max(id) FROM answer WHERE question = question.id);
