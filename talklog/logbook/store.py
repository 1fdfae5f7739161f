"""The logbook: records with all their revisions, which are never overwritten, and their recordings.

``Logbook.open(path)`` makes the file if it is not there. Methods may be called from any thread and
from several processes at once: each is one transaction, and a crash leaves all of it or nothing.
All raise LogbookError, in words for the person.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from talklog.errors import LogbookError
from talklog.folders import user_folder
from talklog.logbook import writing
from talklog.logbook.audio_folder import AudioFolder
from talklog.logbook.canonical import content_hash, record_text
from talklog.logbook.database import Connection, Database, Row
from talklog.logbook.kinds import Entry, Hit, KnownMachine, Machine, Revision, Seal, Summary
from talklog.logbook.seals import seal_hash
from talklog.record import ServiceRecord, load_record

VARIABLE = "TALKLOG_BOOK"
FILE = "logbook.db"
LONGEST = 200  # characters of a name, a person or a note on a change

_SUMMARY = """
SELECT e.id, m.key AS machine, m.name AS machine_name, e.made_at, e.said_at, e.name, e.readings,
    e.stops, e.looks, e.unsure, e.revision AS revisions,
    (SELECT max(revision) FROM seal WHERE entry_id = e.id) AS sealed_at
FROM entry AS e LEFT JOIN machine AS m ON m.id = e.machine_id
"""
_MACHINES = """
SELECT m.*, (SELECT count(*) FROM entry WHERE machine_id = m.id) AS entries,
    (SELECT count(*) FROM follow_up WHERE machine_id = m.id AND done_in IS NULL AND NOT by_hand)
        AS open_follow_ups,
    e.meter_text, e.meter_unit AS said_unit, e.said_at
FROM machine AS m LEFT JOIN entry AS e ON e.id = (
    SELECT id FROM entry WHERE machine_id = m.id AND meter IS NOT NULL
    ORDER BY said_utc DESC, id DESC LIMIT 1)
ORDER BY m.key
"""


def default_book() -> Path:
    """Where the book is: TALKLOG_BOOK, else ``talklog/logbook.db`` in the user's data folder."""
    if named := os.environ.get(VARIABLE):
        return Path(named)
    return user_folder() / FILE


class Logbook:
    """An open book. ``now`` gives the time with its offset; a test may set its own."""

    def __init__(self, path: Path, *, now: Callable[[], datetime] | None = None) -> None:
        self.path = path
        self.database = Database(path)
        self.audio = AudioFolder(path)
        self._now = now or (lambda: datetime.now().astimezone())

    @classmethod
    def open(cls, path: Path | None = None) -> Logbook:
        """The book in a file, the usual one if none is named."""
        return cls(path or default_book())

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self.database.close()

    def now(self) -> str:
        """The present moment in RFC 3339, seconds."""
        return self._now().isoformat(timespec="seconds")

    # ---- putting in ------------------------------------------------------------------------------

    def add(
        self, record: ServiceRecord, *, audio: Path | None, name: str, said_at: str | None = None
    ) -> Entry:
        """Put a record into the book, and its recording into the folder beside it.

        The same record again changes nothing. Another record of the same recording and machine
        is a new revision, unless somebody has corrected or sealed the entry: then what people
        said stands, and nothing changes.
        """
        kept = self.audio.keep(audio, record.source.sha256) if audio else None
        with self.database.writing() as connection:
            if kept:
                connection.execute(
                    "INSERT INTO audio VALUES (?,?,?) ON CONFLICT DO NOTHING",
                    (record.source.sha256, *kept),
                )
            entry = self._put(connection, record, name, bool(kept), said_at or record.made_at)
            return _entry(connection, entry)

    def _put(
        self, connection: Connection, record: ServiceRecord, name: str, kept: bool, said_at: str
    ) -> int:
        known = connection.execute(
            "SELECT id, revision FROM entry WHERE record_id = ?", (record.id,)
        ).fetchone()
        now, audio = self.now(), record.source.sha256 if kept else None
        if known is None:
            machine = self._machine_of(connection, record, now)
            entry = writing.insert_entry(
                connection, record, machine=machine, name=_short(name, "a name"), audio=audio,
                said_at=said_at, now=now,
            )  # fmt: skip
            self._revision(connection, entry, 1, record, "talklog", f"taken from {name}", "taken")
            return entry
        entry, revision = known
        if audio:
            connection.execute(
                "UPDATE entry SET audio = ? WHERE id = ? AND audio IS NULL", (audio, entry)
            )
        if not _is_settled(connection, entry, record):
            what = f"taken again from {name}"
            self._revision(connection, entry, revision + 1, record, "talklog", what, "taken")
        return entry

    def _machine_of(self, connection: Connection, record: ServiceRecord, now: str) -> int | None:
        if record.machine is None:
            return None
        machine = Machine(record.machine.key, record.machine.name)
        return writing.machine_number(connection, machine, now)

    def _revision(
        self, connection: Connection, entry: int, number: int, record: ServiceRecord, who: str,
        what: str, origin: Any,
    ) -> None:  # fmt: skip
        writing.insert_revision(
            connection, entry, number, record, who=who, what=what[:LONGEST], origin=origin,
            now=self.now(),
        )  # fmt: skip

    def revise(
        self, entry_id: int, record: ServiceRecord, *, who: str, what: str, base_revision: int
    ) -> int:
        """Keep a corrected record as a new revision. Returns its number.

        Refused when ``base_revision`` is not the current one: somebody else was quicker.
        """
        person = _short(who, "who corrects it")
        with self.database.writing() as connection:
            row = _row_of(connection, entry_id)
            if row["revision"] != base_revision:
                raise LogbookError(
                    f"entry {entry_id} was changed meanwhile (it is at revision {row['revision']}, "
                    f"you looked at {base_revision}); look at it again, then correct"
                )
            if row["record_id"] != record.id:
                raise LogbookError(f"that is no version of entry {entry_id}: its record is another")
            number = base_revision + 1
            self._revision(connection, entry_id, number, record, person, what, "corrected")
            return number

    def seal(self, entry_id: int, *, who: str, base_revision: int | None = None) -> Seal:
        """Sign the current revision. Later changes are amendments; sealing again is allowed.

        Refused when ``base_revision`` is given and no longer current.
        """
        person, now = _short(who, "who signs"), self.now()
        with self.database.writing() as connection:
            row = _row_of(connection, entry_id)
            if base_revision not in (None, row["revision"]):
                raise LogbookError(
                    f"entry {entry_id} was changed meanwhile; look at it again, then sign"
                )
            number = 1 + len(_seals(connection, entry_id))
            digest = expected_seal(connection, entry_id, row["revision"], number, person, now)
            connection.execute(
                "INSERT INTO seal VALUES (?,?,?,?,?,?)",
                (entry_id, number, row["revision"], now, person, digest),
            )
            return Seal(entry_id, number, row["revision"], now, person, digest)

    def set_machine(self, machine: Machine) -> None:
        """Add a machine, or change everything of it but its key."""
        with self.database.writing() as connection:
            number = writing.machine_number(connection, machine, self.now())
            connection.execute(
                "UPDATE machine SET name = ?, kind = ?, serial = ?, meter_unit = ? WHERE id = ?",
                (_short(machine.name, "a name"), machine.kind, machine.serial, machine.meter_unit,
                 number),
            )  # fmt: skip

    def mark_done(self, entry_id: int, place: str, *, who: str) -> None:
        """Mark a thing to do as done by hand. ``place`` is that of due items."""
        with self.database.writing() as connection:
            _row_of(connection, entry_id)
            found = connection.execute(
                "UPDATE follow_up SET by_hand = 1 WHERE entry_id = ? AND place = ?",
                (entry_id, place),
            )
            if not found.rowcount:
                raise LogbookError(f"entry {entry_id} has no thing to do at words {place}")
            connection.execute(
                "INSERT INTO done_by_hand VALUES (?,?,?,?) ON CONFLICT DO NOTHING",
                (entry_id, place, self.now(), _short(who, "who did it")),
            )

    # ---- looking up ------------------------------------------------------------------------------

    def entry(self, entry_id: int) -> Entry:
        """One entry with its current record."""
        with self.database.reading() as connection:
            return _entry(connection, entry_id)

    def entries(
        self, *, machine: str | None = None, limit: int = 50, before: int | None = None
    ) -> list[Summary]:
        """The newest entries first; ``before`` is the id of the last one of the page before."""
        with self.database.reading() as connection:
            number = machine_number_of(connection, machine) if machine else None
            found = connection.execute(
                f"{_SUMMARY} WHERE e.id < ?{' AND e.machine_id = ?' if machine else ''}"
                " ORDER BY e.id DESC LIMIT ?",
                (before or 1 << 62, *([number] if machine else []), limit),
            )
            return [_summary(row) for row in found]

    def revisions(self, entry_id: int) -> list[Revision]:
        """All versions of an entry's record, the first one first."""
        with self.database.reading() as connection:
            _row_of(connection, entry_id)
            seals = _seals(connection, entry_id)
            first_seal = min((row["revision"] for row in seals), default=None)
            found = connection.execute(
                "SELECT number, made_at, who, what, origin, sha256 FROM revision"
                " WHERE entry_id = ? ORDER BY number",
                (entry_id,),
            )
            return [
                Revision(*row, amendment=first_seal is not None and row["number"] > first_seal)
                for row in found
            ]

    def record(self, entry_id: int, revision: int) -> ServiceRecord:
        """The record as it was at a revision."""
        with self.database.reading() as connection:
            return _record(connection, entry_id, revision)

    def seals(self, entry_id: int) -> list[Seal]:
        """The signatures of an entry, the first one first."""
        with self.database.reading() as connection:
            return [Seal(*row) for row in _seals(connection, entry_id)]

    def audio_path(self, entry_id: int) -> Path | None:
        """The recording of an entry in the book's own folder; ``None`` if none was kept."""
        with self.database.reading() as connection:
            row = connection.execute(
                "SELECT a.sha256, a.suffix FROM entry AS e JOIN audio AS a ON a.sha256 = e.audio"
                " WHERE e.id = ?",
                (entry_id,),
            ).fetchone()
        return self.audio.place(*row) if row else None

    def machines(self) -> list[KnownMachine]:
        """All machines by key."""
        with self.database.reading() as connection:
            return [_known(row) for row in connection.execute(_MACHINES)]

    def machine(self, key: str) -> KnownMachine:
        """One machine."""
        found = next((one for one in self.machines() if one.machine.key == key), None)
        if found is None:
            raise LogbookError(_no_machine(key, [one.machine.key for one in self.machines()]))
        return found

    def known_key(self, key: str) -> str:
        """The key itself. Raises LogbookError, naming those that are known, for another."""
        with self.database.reading() as connection:
            machine_number_of(connection, key)
        return key

    def search(self, text: str, *, machine: str | None = None, limit: int = 50) -> list[Hit]:
        """Entries in which all the words stand, newest first; the last may be a beginning."""
        with self.database.reading() as connection:
            wanted = _query(text)
            if not wanted:
                return []
            if machine:
                wanted = f"machine : m{machine_number_of(connection, machine)} AND ({wanted})"
            found = connection.execute(
                "SELECT rowid, snippet(note, 2, '«', '»', '…', 14) AS excerpt FROM note"
                " WHERE note MATCH ? ORDER BY rowid DESC LIMIT ?",
                (wanted, limit),
            ).fetchall()
            return [Hit(_one_summary(connection, row[0]), row["excerpt"]) for row in found]


# ---- shared with the other modules of the logbook ------------------------------------------------


def expected_seal(
    connection: Connection, entry: int, revision: int, number: int, who: str, made_at: str
) -> str:
    """The hash that a seal must have; see ``seals``."""
    row = _row_of(connection, entry)
    versions = connection.execute(
        "SELECT number, made_at, who, what, origin, sha256 FROM revision"
        " WHERE entry_id = ? AND number <= ? ORDER BY number",
        (entry, revision),
    )
    return seal_hash(
        record_id=row["record_id"],
        revisions=[tuple(version) for version in versions],
        audio_sha256=row["audio"],
        source_sha256=row["source_sha256"],
        earlier=[seal["sha256"] for seal in _seals(connection, entry) if seal["number"] < number],
        who=who,
        made_at=made_at,
    )


def _row_of(connection: Connection, entry_id: int) -> Row:
    row = connection.execute("SELECT * FROM entry WHERE id = ?", (entry_id,)).fetchone()
    if row is None:
        raise LogbookError(f"there is no entry {entry_id} in this book")
    return row


def _seals(connection: Connection, entry_id: int) -> list[Row]:
    return connection.execute(
        "SELECT * FROM seal WHERE entry_id = ? ORDER BY number", (entry_id,)
    ).fetchall()


def _is_settled(connection: Connection, entry: int, record: ServiceRecord) -> bool:
    """Whether taking a recording again must change nothing."""
    by_people = connection.execute(
        "SELECT EXISTS (SELECT 1 FROM revision WHERE entry_id = ? AND origin = 'corrected')"
        " OR EXISTS (SELECT 1 FROM seal WHERE entry_id = ?)",
        (entry, entry),
    ).fetchone()[0]
    newest = connection.execute(
        "SELECT content FROM revision WHERE entry_id = ? ORDER BY number DESC LIMIT 1", (entry,)
    ).fetchone()
    return bool(by_people) or newest[0] == content_hash(record_text(record))


def _record(connection: Connection, entry_id: int, revision: int) -> ServiceRecord:
    row = connection.execute(
        "SELECT record FROM revision WHERE entry_id = ? AND number = ?", (entry_id, revision)
    ).fetchone()
    if row is None:
        raise LogbookError(f"entry {entry_id} has no revision {revision}")
    return load_record(row[0], where=f"entry {entry_id}, revision {revision}")


def _entry(connection: Connection, entry_id: int) -> Entry:
    row, line = _row_of(connection, entry_id), _one_summary(connection, entry_id)
    return Entry(
        id=entry_id, machine=line.machine, made_at=line.made_at, said_at=line.said_at,
        name=line.name, sealed=line.sealed, amended=line.amended, revisions=line.revisions,
        audio_sha256=row["audio"], record=_record(connection, entry_id, row["revision"]),
    )  # fmt: skip


def _one_summary(connection: Connection, entry_id: int) -> Summary:
    return _summary(connection.execute(f"{_SUMMARY} WHERE e.id = ?", (entry_id,)).fetchone())


def _summary(row: Row) -> Summary:
    fields = {name: row[name] for name in row.keys() if name != "sealed_at"}  # noqa: SIM118
    sealed = row["sealed_at"]
    return Summary(
        **fields,
        sealed=sealed is not None,
        amended=sealed is not None and sealed < row["revisions"],
    )


def _known(row: Row) -> KnownMachine:
    machine = Machine(row["key"], row["name"], row["kind"], row["serial"], row["meter_unit"])
    said_on = row["said_at"][:10] if row["said_at"] else None
    return KnownMachine(
        machine,
        row["entries"],
        row["open_follow_ups"],
        row["meter_text"],
        row["said_unit"],
        said_on,
    )


def machine_number_of(connection: Connection, key: str) -> int:
    """The row of a machine. Raises LogbookError, naming those that are known, for another."""
    row = connection.execute("SELECT id FROM machine WHERE key = ?", (key,)).fetchone()
    if row is None:
        known = [found[0] for found in connection.execute("SELECT key FROM machine ORDER BY key")]
        raise LogbookError(_no_machine(key, known))
    return row[0]


def _no_machine(key: str, known: list[str]) -> str:
    return f"there is no machine {key!r} in this book; it knows {', '.join(known) or 'none'}"


def _query(text: str) -> str:
    """Words as quoted strings of FTS5, so that nothing of its language can be typed in."""
    plain = "".join(letter if letter.isprintable() and letter != '"' else " " for letter in text)
    words = plain.split()
    quoted = [f'"{word}"' for word in words if any(letter.isalnum() for letter in word)]
    return " AND ".join(quoted) + "*" if quoted else ""


def _short(text: str, what: str) -> str:
    """A name as it is kept: one line, not empty, not endless."""
    plain = " ".join(text.split())
    if not plain:
        raise LogbookError(f"give {what}: it stands in the book for good")
    return plain[:LONGEST]
