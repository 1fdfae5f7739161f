-- What the current revisions say, laid out for questions. All of it can be made again from the
-- revisions.

CREATE TABLE reading (
    entry_id    INTEGER NOT NULL REFERENCES entry (id),
    number      INTEGER NOT NULL,
    machine_id  INTEGER,
    component   TEXT NOT NULL,
    quantity    TEXT NOT NULL,
    position    TEXT,
    condition   TEXT,
    value       TEXT NOT NULL,
    unit        TEXT,
    si_value    REAL,
    si_unit     TEXT,
    role        TEXT NOT NULL,
    verdict     TEXT NOT NULL,
    band_low    TEXT,
    band_high   TEXT,
    band_unit   TEXT,
    band_source TEXT,
    PRIMARY KEY (entry_id, number)
) WITHOUT ROWID;
CREATE INDEX reading_by_thing ON reading (machine_id, component, quantity);

CREATE TABLE part (
    entry_id    INTEGER NOT NULL REFERENCES entry (id),
    number      INTEGER NOT NULL,
    machine_id  INTEGER,
    name        TEXT NOT NULL,
    quantity    INTEGER,
    status      TEXT NOT NULL,
    PRIMARY KEY (entry_id, number)
) WITHOUT ROWID;
CREATE INDEX part_by_name ON part (machine_id, name, status);

-- ``work`` is the kind of work a verb stands for (works.toml): change and renew are one.
CREATE TABLE action (
    entry_id    INTEGER NOT NULL REFERENCES entry (id),
    number      INTEGER NOT NULL,
    machine_id  INTEGER,
    verb        TEXT NOT NULL,
    work        TEXT NOT NULL,
    component   TEXT NOT NULL,
    position    TEXT,
    done        INTEGER NOT NULL,
    said_utc    TEXT NOT NULL,
    PRIMARY KEY (entry_id, number)
) WITHOUT ROWID;
CREATE INDEX action_by_thing ON action (machine_id, component, work, entry_id) WHERE done;

-- ``due_on`` and ``due_meter`` are worked out when the entry is written; both may be missing.
CREATE TABLE follow_up (
    entry_id    INTEGER NOT NULL REFERENCES entry (id),
    number      INTEGER NOT NULL,
    place       TEXT NOT NULL,
    machine_id  INTEGER,
    what        TEXT NOT NULL,
    component   TEXT,
    work        TEXT NOT NULL,
    due_kind    TEXT NOT NULL,
    due_text    TEXT NOT NULL,
    due_on      TEXT,
    due_meter   REAL,
    meter_unit  TEXT,
    said_utc    TEXT NOT NULL,
    done_in     INTEGER REFERENCES entry (id),
    by_hand     INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (entry_id, number)
) WITHOUT ROWID;
CREATE INDEX follow_up_open ON follow_up (machine_id, due_on) WHERE done_in IS NULL AND NOT by_hand;
CREATE INDEX follow_up_by_thing ON follow_up (machine_id, component);
