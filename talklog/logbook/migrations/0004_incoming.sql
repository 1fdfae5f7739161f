-- What became of the files of a watched folder. ``sha256`` is empty where a file could not be read.

CREATE TABLE incoming (
    path      TEXT PRIMARY KEY,
    bytes     INTEGER NOT NULL,
    mtime_ns  INTEGER NOT NULL,
    sha256    TEXT NOT NULL,
    state     TEXT NOT NULL CHECK (state IN ('taken', 'failed')),
    reason    TEXT NOT NULL,
    at        TEXT NOT NULL
);
CREATE INDEX incoming_failed ON incoming (at) WHERE state = 'failed';
