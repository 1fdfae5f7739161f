"""Rows into the book: the statements behind every change. Runs inside the caller's transaction."""

from __future__ import annotations

from talklog.days import utc_of
from talklog.logbook import rows
from talklog.logbook.canonical import content_hash, record_text, sha256_of
from talklog.logbook.database import Connection
from talklog.logbook.kinds import Machine, Origin
from talklog.record import ServiceRecord

_CONTENTS = {
    "reading": "entry_id, number, machine_id, component, quantity, position, condition, value,"
    " unit, si_value, si_unit, role, verdict, band_low, band_high, band_unit, band_source",
    "part": "entry_id, number, machine_id, name, quantity, status",
    "action": "entry_id, number, machine_id, verb, work, component, position, done, said_utc",
    "follow_up": "entry_id, number, machine_id, place, what, component, work, due_kind, due_text,"
    " due_on, due_meter, meter_unit, said_utc",
}
# The first later note of the machine that did the same kind of work to the same thing.
_DONE = """
UPDATE follow_up SET done_in = (
    SELECT min(a.entry_id) FROM action AS a
    WHERE a.machine_id = follow_up.machine_id AND a.component = follow_up.component
      AND a.work = follow_up.work AND a.done AND a.said_utc > follow_up.said_utc
) WHERE machine_id = :machine AND component IS NOT NULL AND work <> '' AND
"""
_OF_THE_ENTRY = "(entry_id = :entry OR done_in = :entry)"
_OF_ITS_WORK = """
EXISTS (SELECT 1 FROM action AS mine WHERE mine.entry_id = :entry AND mine.done
    AND mine.component = follow_up.component AND mine.work = follow_up.work)
"""


def machine_number(connection: Connection, machine: Machine, made_at: str) -> int:
    """The row of a machine, made if its key is new."""
    connection.execute(
        "INSERT INTO machine (key, name, kind, serial, meter_unit, made_at) VALUES (?,?,?,?,?,?)"
        " ON CONFLICT (key) DO NOTHING",
        (machine.key, machine.name, machine.kind, machine.serial, machine.meter_unit, made_at),
    )
    found = connection.execute("SELECT id FROM machine WHERE key = ?", (machine.key,)).fetchone()
    return found[0]


def insert_entry(
    connection: Connection,
    record: ServiceRecord,
    *,
    machine: int | None,
    name: str,
    audio: str | None,
    said_at: str,
    now: str,
) -> int:
    """A new entry without contents; its first revision must follow in the same transaction."""
    fields = {
        "record_id": record.id, "machine_id": machine, "name": name, "audio": audio,
        "source_sha256": record.source.sha256, "put_in_at": now, "said_at": said_at,
        "said_utc": utc_of(said_at), "revision": 1, "made_at": record.made_at,
        "readings": 0, "stops": 0, "looks": 0, "unsure": 0,
    }  # fmt: skip
    names, marks = ", ".join(fields), ", ".join("?" * len(fields))
    added = connection.execute(
        f"INSERT INTO entry ({names}) VALUES ({marks})", tuple(fields.values())
    )
    return int(added.lastrowid or 0)


def insert_revision(
    connection: Connection,
    entry: int,
    number: int,
    record: ServiceRecord,
    *,
    who: str,
    what: str,
    origin: Origin,
    now: str,
) -> None:
    """A version of a record, and everything that is asked of the current one."""
    text = record_text(record)
    connection.execute(
        "INSERT INTO revision VALUES (?,?,?,?,?,?,?,?,?)",
        (entry, number, now, who, what, origin, text, sha256_of(text), content_hash(text)),
    )
    _lay_out(connection, entry, number, record)


def _lay_out(connection: Connection, entry: int, number: int, record: ServiceRecord) -> None:
    row = connection.execute(
        "SELECT machine_id, said_at, name FROM entry WHERE id = ?", (entry,)
    ).fetchone()
    machine, said_at, name = row
    meter = record.meter
    told = rows.counts(record)
    connection.execute(
        "UPDATE entry SET revision = ?, made_at = ?, meter_text = ?, meter_unit = ?, meter = ?,"
        " readings = ?, stops = ?, looks = ?, unsure = ? WHERE id = ?",
        (number, record.made_at, meter.value if meter else None, meter.unit if meter else None,
         float(meter.value) if meter else None, *told.values(), entry),
    )  # fmt: skip
    contents = {
        "reading": rows.reading_rows(record),
        "part": rows.part_rows(record),
        "action": rows.action_rows(record, said_at),
        "follow_up": rows.follow_up_rows(record, said_at),
    }
    for table, found in contents.items():
        _fill(connection, table, entry, machine, found)
    _index_words(connection, entry, machine, name, record)
    mark_done(connection, machine, entry)


def _fill(
    connection: Connection, table: str, entry: int, machine: int | None, found: list[rows.Row]
) -> None:
    connection.execute(f"DELETE FROM {table} WHERE entry_id = ?", (entry,))
    columns = _CONTENTS[table]
    marks = ", ".join("?" * len(columns.split(",")))
    connection.executemany(
        f"INSERT INTO {table} ({columns}) VALUES ({marks})",
        ((entry, number, machine, *rest) for number, *rest in found),
    )


def _index_words(
    connection: Connection, entry: int, machine: int | None, name: str, record: ServiceRecord
) -> None:
    said = " ".join(word.text for word in record.words)
    title = f"{record.machine.name} {record.machine.key} {name}" if record.machine else name
    connection.execute("DELETE FROM note WHERE rowid = ?", (entry,))
    connection.execute(
        "INSERT INTO note (rowid, machine, title, said) VALUES (?,?,?,?)",
        (entry, f"m{machine or 0}", title, said),
    )


def mark_done(connection: Connection, machine: int | None, entry: int) -> None:
    """Things to do of a machine that a later note did, and those marked by hand before."""
    if machine is not None:
        for which in (_OF_THE_ENTRY, _OF_ITS_WORK):
            connection.execute(_DONE + which, {"machine": machine, "entry": entry})
    connection.execute(
        "UPDATE follow_up SET by_hand = EXISTS (SELECT 1 FROM done_by_hand AS d WHERE"
        " d.entry_id = follow_up.entry_id AND d.place = follow_up.place) WHERE entry_id = ?",
        (entry,),
    )
