-- From version 1 to 2: the zone of the calendar, reference cells, the bench of each session, the freedom of
-- an uncertainty, and what the outside was told. Columns come last in a table that had them not.

ALTER TABLE logbook ADD COLUMN zone TEXT NOT NULL DEFAULT 'UTC';
ALTER TABLE cell ADD COLUMN reference INTEGER NOT NULL DEFAULT 0 CHECK (reference IN (0, 1));
ALTER TABLE run ADD COLUMN due_civil TEXT;
ALTER TABLE run ADD COLUMN due_zone TEXT;
ALTER TABLE result ADD COLUMN freedom REAL;

CREATE TABLE session_channel ( -- a channel of the bench as it was in that session
    session     INTEGER NOT NULL REFERENCES session (id),
    channel     TEXT NOT NULL,
    how         TEXT NOT NULL,       -- how it obtains values: 'simulated'
    accuracy    TEXT NOT NULL,       -- JSON: what is stated, per voltage, current, temperature; SI
    instruments TEXT NOT NULL,       -- JSON: role -> instrument, and its identity where it told one
    PRIMARY KEY (session, channel)
) STRICT, WITHOUT ROWID;

CREATE TABLE notice ( -- what the outside was told of: that an appointment is due
    run     INTEGER NOT NULL,
    segment INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    what    TEXT NOT NULL,           -- 'due', 'overdue', 'question', 'lost'
    at      INTEGER NOT NULL,
    came_of TEXT NOT NULL DEFAULT '', -- how the command ended: 'exit 0'; '' while it runs
    PRIMARY KEY (run, segment, n, what)
) STRICT, WITHOUT ROWID;

UPDATE run SET due_civil = strftime('%Y-%m-%dT%H:%M:%S', due_at / 1000000, 'unixepoch'), due_zone = 'UTC'
 WHERE due_at IS NOT NULL;
