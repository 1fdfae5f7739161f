-- What must never be lost: machines, entries with all their revisions, seals, marks made by hand.
-- Times are texts of RFC 3339 as they were given; columns ending in _utc hold the same moment in
-- UTC, which sorts. Numbers that must stay as they were said are texts.

CREATE TABLE machine (
    id          INTEGER PRIMARY KEY,
    key         TEXT NOT NULL UNIQUE CHECK (key <> ''),
    name        TEXT NOT NULL,
    kind        TEXT,
    serial      TEXT,
    meter_unit  TEXT,
    made_at     TEXT NOT NULL
);

-- One note. The number of an entry is its place in the book and is never used again.
CREATE TABLE entry (
    id           INTEGER PRIMARY KEY AUTOINCREMENT,
    record_id    TEXT NOT NULL UNIQUE,
    machine_id   INTEGER REFERENCES machine (id),
    name         TEXT NOT NULL,
    source_sha256 TEXT NOT NULL,
    audio        TEXT REFERENCES audio (sha256),
    put_in_at    TEXT NOT NULL,
    said_at      TEXT NOT NULL,
    said_utc     TEXT NOT NULL,
    -- Copied from the current revision, for lists.
    revision     INTEGER NOT NULL,
    made_at      TEXT NOT NULL,
    meter_text   TEXT,
    meter_unit   TEXT,
    meter        REAL,
    readings     INTEGER NOT NULL,
    stops        INTEGER NOT NULL,
    looks        INTEGER NOT NULL,
    unsure       INTEGER NOT NULL,
    FOREIGN KEY (id, revision) REFERENCES revision (entry_id, number) DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX entry_by_machine ON entry (machine_id, id);
CREATE INDEX entry_by_source ON entry (source_sha256);
CREATE INDEX entry_by_meter ON entry (machine_id, said_utc) WHERE meter IS NOT NULL;

CREATE TABLE audio (
    sha256  TEXT PRIMARY KEY,
    suffix  TEXT NOT NULL,
    bytes   INTEGER NOT NULL
);

-- Every version of a record, whole, as canonical JSON. ``content`` is the hash without the time
-- at which the record was made, so that taking a note again can be seen to give the same.
CREATE TABLE revision (
    entry_id  INTEGER NOT NULL REFERENCES entry (id),
    number    INTEGER NOT NULL CHECK (number > 0),
    made_at   TEXT NOT NULL,
    who       TEXT NOT NULL,
    what      TEXT NOT NULL,
    origin    TEXT NOT NULL CHECK (origin IN ('taken', 'corrected')),
    record    TEXT NOT NULL,
    sha256    TEXT NOT NULL,
    content   TEXT NOT NULL,
    PRIMARY KEY (entry_id, number)
);

CREATE TABLE seal (
    entry_id  INTEGER NOT NULL,
    number    INTEGER NOT NULL CHECK (number > 0),
    revision  INTEGER NOT NULL,
    made_at   TEXT NOT NULL,
    who       TEXT NOT NULL,
    sha256    TEXT NOT NULL,
    PRIMARY KEY (entry_id, number),
    FOREIGN KEY (entry_id, revision) REFERENCES revision (entry_id, number)
);

-- Things to do that somebody marked as done by hand. They are named by the words they came from,
-- because those stay the same from one revision to the next.
CREATE TABLE done_by_hand (
    entry_id  INTEGER NOT NULL REFERENCES entry (id),
    place     TEXT NOT NULL,
    made_at   TEXT NOT NULL,
    who       TEXT NOT NULL,
    PRIMARY KEY (entry_id, place)
);

CREATE TRIGGER revision_is_kept BEFORE UPDATE ON revision
BEGIN SELECT RAISE(ABORT, 'a revision is never changed'); END;
CREATE TRIGGER revision_stays BEFORE DELETE ON revision
BEGIN SELECT RAISE(ABORT, 'a revision is never removed'); END;
CREATE TRIGGER seal_is_kept BEFORE UPDATE ON seal
BEGIN SELECT RAISE(ABORT, 'a seal is never changed'); END;
CREATE TRIGGER seal_stays BEFORE DELETE ON seal
BEGIN SELECT RAISE(ABORT, 'a seal is never removed'); END;
CREATE TRIGGER entry_stays BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'an entry is never removed'); END;
