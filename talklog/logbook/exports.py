"""The book in open formats: readings as CSV, records as JSON lines, everything as one archive.

The archive is a ZIP file with ``book.jsonl`` (one JSON object a line: machines, then entries with
all revisions, seals and marks) and ``audio/SHA256.SUFFIX``. Reading it in gives the same book.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from talklog.errors import LogbookError
from talklog.logbook import writing
from talklog.logbook.canonical import canonical, sha256_of
from talklog.logbook.database import Connection
from talklog.logbook.kinds import Machine
from talklog.logbook.store import Logbook, expected_seal
from talklog.record import load_record

FORM = "talklog/book/1"
LINES = "book.jsonl"
LARGEST_LINE = 64 * 2**20  # bytes: a record of a day's talk has less than one
MOST_GROWTH = 200  # of the lines when unpacked; records shrink to about a tenth
COLUMNS = (
    "entry", "said_at", "machine", "component", "position", "quantity", "condition", "value",
    "unit", "role", "verdict", "band_low", "band_high", "band_unit", "band_source", "meter",
    "meter_unit",
)  # fmt: skip
_SOUND = re.compile(r"audio/[0-9a-f]{64}(?:\.[a-z0-9]{1,5})?")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_READINGS = """
SELECT r.entry_id, e.said_at, m.key, r.component, r.position, r.quantity, r.condition, r.value,
    r.unit, r.role, r.verdict, r.band_low, r.band_high, r.band_unit, r.band_source, e.meter_text,
    e.meter_unit
FROM reading AS r JOIN entry AS e ON e.id = r.entry_id LEFT JOIN machine AS m ON m.id = e.machine_id
{where} ORDER BY r.entry_id, r.number
"""


def readings_csv(book: Logbook, *, machine: str | None = None) -> str:
    """All readings as CSV (RFC 4180): a header, CRLF, quotes where needed.

    A text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    key = book.known_key(machine) if machine else None
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    with book.database.reading() as connection:
        query = _READINGS.format(where="WHERE m.key = ?" if key else "")
        for row in connection.execute(query, (key,) if key else ()):
            writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if not isinstance(value, str) or not value.startswith(_FORMULA):
        return value
    number = value[1:].replace(".", "", 1).isdigit() and value[0] in "+-"
    return value if number else f"'{value}"


def records_jsonl(book: Logbook) -> Iterator[str]:
    """The current record of each entry, one JSON object a line."""
    with book.database.reading() as connection:
        found = connection.execute(
            "SELECT r.record FROM entry AS e JOIN revision AS r ON r.entry_id = e.id"
            " AND r.number = e.revision ORDER BY e.id"
        )
        for row in found:
            yield row[0] + "\n"


# ---- the archive ---------------------------------------------------------------------------------


def write_archive(book: Logbook, target: Path) -> None:
    """Everything of a book as one file. Raises LogbookError if it is there or cannot be written."""
    if target.exists():
        raise LogbookError(f"{target}: is there already; give another name")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
            with book.database.reading() as connection:
                lines = "".join(f"{canonical(line)}\n" for line in _lines(connection))
                sounds = connection.execute("SELECT sha256, suffix FROM audio").fetchall()
            archive.writestr(LINES, lines)
            for sha256, suffix in sounds:
                archive.write(book.audio.place(sha256, suffix), f"audio/{sha256}{suffix}",
                              zipfile.ZIP_STORED)  # fmt: skip
        os.replace(part, target)
    except OSError as error:
        raise LogbookError(
            f"{error.filename or target}: the export cannot be written ({error.strerror})"
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _lines(connection: Connection) -> Iterator[dict[str, Any]]:
    yield {"form": FORM}
    for row in connection.execute("SELECT * FROM machine ORDER BY id"):
        yield {"machine": _fields(row, ("key", "name", "kind", "serial", "meter_unit", "made_at"))}
    entries = connection.execute(
        "SELECT e.*, m.key FROM entry AS e LEFT JOIN machine AS m ON m.id = e.machine_id"
        " ORDER BY e.id"
    )
    for row in entries.fetchall():
        yield {"entry": _entry(connection, row)}


def _fields(row: Any, names: Iterable[str]) -> dict[str, Any]:
    return {name: row[name] for name in names}


def _entry(connection: Connection, row: Any) -> dict[str, Any]:
    entry = _fields(row, ("id", "name", "put_in_at", "said_at", "audio"))
    suffix = connection.execute("SELECT suffix, bytes FROM audio WHERE sha256 = ?", (row["audio"],))
    sound = suffix.fetchone()
    tables = {
        "revisions": ("revision", ("number", "made_at", "who", "what", "origin", "record")),
        "seals": ("seal", ("number", "revision", "made_at", "who", "sha256")),
        "done": ("done_by_hand", ("place", "made_at", "who")),
    }
    more = {
        name: [
            _fields(one, names)
            for one in connection.execute(
                f"SELECT * FROM {table} WHERE entry_id = ? ORDER BY 2", (row["id"],)
            )
        ]
        for name, (table, names) in tables.items()
    }
    file = f"audio/{row['audio']}{sound['suffix']}" if sound else None
    size = sound["bytes"] if sound else None
    return {**entry, "machine": row["key"], "file": file, "bytes": size, **more}


def read_archive(book: Logbook, source: Path) -> int:
    """Read an archive into an empty book. Returns the number of entries.

    Hashes of records, recordings and seals are checked; one that is wrong, or a name that leads
    elsewhere, refuses the whole archive with LogbookError, and the book stays empty.
    """
    if book.entries(limit=1):
        raise LogbookError(f"{book.path}: is not empty; import into a new book with --book")
    try:
        with zipfile.ZipFile(source) as archive:
            lines = _parsed(archive)
            _keep_sounds(book, archive, [line["entry"] for line in lines if "entry" in line])
            with book.database.writing() as connection:
                return _put_lines(connection, lines)
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, OSError, RuntimeError) as error:
        raise LogbookError(f"{source}: is no export of a logbook ({error})") from error


def _parsed(archive: zipfile.ZipFile) -> list[dict[str, Any]]:
    info = archive.getinfo(LINES)
    if info.file_size > MOST_GROWTH * max(info.compress_size, 2**20):
        raise ValueError(f"{LINES} would grow to {info.file_size} bytes")
    with archive.open(info) as stream:
        lines = []
        while raw := stream.readline(LARGEST_LINE + 1):
            if len(raw) > LARGEST_LINE:
                raise ValueError("a line is too long")
            lines.append(json.loads(raw))
    if not lines or lines[0] != {"form": FORM}:
        raise ValueError(f"the first line is not {FORM}")
    return lines[1:]


def _keep_sounds(book: Logbook, archive: zipfile.ZipFile, entries: Sequence[Any]) -> None:
    for entry in entries:
        if entry["file"] is None:
            continue
        name = PurePosixPath(entry["file"])
        if not _SOUND.fullmatch(entry["file"]) or name.stem != entry["audio"]:
            raise ValueError(f"{entry['file']!r} is no name of a recording")
        info = archive.getinfo(entry["file"])
        if info.compress_type != zipfile.ZIP_STORED or info.file_size != entry["bytes"]:
            raise ValueError(f"{entry['file']} is packed in another way than talklog packs it")
        with archive.open(info) as stream:
            place = book.audio.place(entry["audio"], name.suffix)
            book.audio.write(stream, place, entry["audio"])


def _put_lines(connection: Connection, lines: Sequence[dict[str, Any]]) -> int:
    numbers: dict[str, int] = {}
    count = 0
    for line in lines:
        if "machine" in line:
            fields = dict(line["machine"])
            made_at = fields.pop("made_at")
            numbers[fields["key"]] = writing.machine_number(connection, Machine(**fields), made_at)
        else:
            _put_entry(connection, line["entry"], numbers)
            count += 1
    return count


def _put_entry(connection: Connection, entry: dict[str, Any], numbers: dict[str, int]) -> None:
    records = [load_record(one["record"], where=entry["name"]) for one in entry["revisions"]]
    if entry["audio"] is not None:
        suffix = PurePosixPath(entry["file"]).suffix
        connection.execute(
            "INSERT INTO audio VALUES (?,?,?) ON CONFLICT DO NOTHING",
            (entry["audio"], suffix, entry["bytes"]),
        )
    number = writing.insert_entry(
        connection, records[0], machine=numbers.get(entry["machine"]), name=entry["name"],
        audio=entry["audio"], said_at=entry["said_at"], now=entry["put_in_at"],
    )  # fmt: skip
    for one, record in zip(entry["revisions"], records, strict=True):
        if sha256_of(one["record"]) != sha256_of(canonical(json.loads(one["record"]))):
            raise ValueError(f"revision {one['number']} of {entry['name']!r} is not canonical")
        writing.insert_revision(
            connection, number, one["number"], record, who=one["who"], what=one["what"],
            origin=one["origin"], now=one["made_at"],
        )  # fmt: skip
    _put_marks(connection, number, entry, numbers)


def _put_marks(
    connection: Connection, number: int, entry: dict[str, Any], numbers: dict[str, int]
) -> None:
    for seal in entry["seals"]:
        digest = expected_seal(
            connection, number, seal["revision"], seal["number"], seal["who"], seal["made_at"]
        )
        if digest != seal["sha256"]:
            raise ValueError(f"the seal of {seal['who']!r} on {entry['name']!r} does not fit")
        columns = ("number", "revision", "made_at", "who", "sha256")
        values = (number, *(seal[column] for column in columns))
        connection.execute("INSERT INTO seal VALUES (?,?,?,?,?,?)", values)
    for mark in entry["done"]:
        values = (number, mark["place"], mark["made_at"], mark["who"])
        connection.execute("INSERT INTO done_by_hand VALUES (?,?,?,?)", values)
    writing.mark_done(connection, numbers.get(entry["machine"]), number)
