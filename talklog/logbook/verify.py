"""Is a book whole? Pages, links, hashes, schema, seals and recordings, each looked at."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from talklog.errors import RecordError
from talklog.logbook.audio_folder import hash_of
from talklog.logbook.canonical import content_hash, sha256_of
from talklog.logbook.database import Connection
from talklog.logbook.store import Logbook, expected_seal
from talklog.record import load_record


def find_damage(
    book: Logbook, *, on_progress: Callable[[int, int], None] | None = None
) -> Iterator[str]:
    """What is wrong with a book, a sentence each; nothing if it is whole. Changes nothing.

    ``on_progress`` is called with entries done and in all.
    """
    with book.database.alone() as connection:
        broken = [f"the file: {row[0]}" for row in connection.execute("PRAGMA integrity_check")]
        if broken != ["the file: ok"]:
            yield from broken
            return
        for row in connection.execute("PRAGMA foreign_key_check"):
            yield f"{row['table']}, row {row['rowid']}: points to nothing in {row['parent']}"
    with book.database.reading() as connection:
        numbers = [row[0] for row in connection.execute("SELECT id FROM entry ORDER BY id")]
        for done, entry in enumerate(numbers, 1):
            yield from _of_entry(connection, entry)
            if on_progress:
                on_progress(done, len(numbers))
        yield from _recordings(book, connection)


def _of_entry(connection: Connection, entry: int) -> Iterator[str]:
    found = connection.execute(
        "SELECT number, record, sha256, content FROM revision WHERE entry_id = ? ORDER BY number",
        (entry,),
    ).fetchall()
    for expected, row in enumerate(found, 1):
        where = f"entry {entry}, revision {row['number']}"
        if row["number"] != expected:
            yield f"entry {entry}: revision {expected} is missing"
            return
        if sha256_of(row["record"]) != row["sha256"]:
            yield f"{where}: its text is not the one that was kept (the hash differs)"
        elif content_hash(row["record"]) != row["content"]:
            yield f"{where}: the hash of its content is wrong"
        try:
            load_record(row["record"], where=where)
        except RecordError as error:
            yield str(error)
    yield from _of_seals(connection, entry)


def _of_seals(connection: Connection, entry: int) -> Iterator[str]:
    seals = connection.execute("SELECT * FROM seal WHERE entry_id = ? ORDER BY number", (entry,))
    for seal in seals.fetchall():
        digest = expected_seal(
            connection, entry, seal["revision"], seal["number"], seal["who"], seal["made_at"]
        )
        if digest != seal["sha256"]:
            yield f"entry {entry}: the seal of {seal['who']} of {seal['made_at']} does not fit"


def _recordings(book: Logbook, connection: Connection) -> Iterator[str]:
    for row in connection.execute("SELECT sha256, suffix, bytes FROM audio ORDER BY sha256"):
        path = book.audio.place(row["sha256"], row["suffix"])
        if not path.is_file():
            yield f"{path}: the recording is missing"
        elif hash_of(path) != row["sha256"]:
            yield f"{path}: is not the recording that was kept (the hash differs)"
