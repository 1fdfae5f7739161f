"""The SQLite file: opened, migrated, and its errors told in our words (only import of sqlite3).

One connection per use: every ``reading`` and ``writing`` block takes an idle connection or opens
one, so that threads and processes never share a transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from queue import Empty, LifoQueue

from talklog.errors import LogbookError

APPLICATION_ID = 0x746C6F67  # "tlog", in the header of every logbook file
WAIT_SECONDS = 15.0  # for another process that is writing
_PRAGMAS = (
    "PRAGMA foreign_keys = ON",
    # FULL: a finished entry is on the disk even when the power fails the moment after.
    "PRAGMA synchronous = FULL",
    "PRAGMA recursive_triggers = ON",
    "PRAGMA cache_size = -16000",
)
Connection = sqlite3.Connection
Row = sqlite3.Row

_MEANINGS = (
    ("disk is full", "the disk is full; make room and do it again, nothing was changed"),
    ("readonly", "cannot be written; see who may write the file and its folder"),
    ("unable to open", "cannot be opened; see that its folder exists and may be written"),
    ("locked", "another program is writing to it; wait for it to end and do it again"),
    ("malformed", "is damaged; talklog book check says what, then import the last good export"),
    ("not a database", "is not a logbook, or its first page is damaged; name another file"),
    ("disk i/o", "the disk gave an error; see that it is well before you go on"),
)


class Database:
    """A logbook file that is open. Made if it does not exist, brought up to date if it is old."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._idle: LifoQueue[sqlite3.Connection] = LifoQueue()
        with self._telling():
            path.parent.mkdir(parents=True, exist_ok=True)
            connection = self._connect()
            try:
                migrate(connection, path)
            except BaseException:
                connection.close()
                raise
            self._idle.put(connection)

    def close(self) -> None:
        """Close every idle connection. Blocks that are still running close theirs later."""
        while True:
            try:
                self._idle.get_nowait().close()
            except Empty:
                return

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection on one state of the book, whatever is written meanwhile."""
        with self._lent() as connection, _transaction(connection, "BEGIN"):
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """A connection in a transaction that is kept whole or not at all."""
        with self._lent() as connection, _transaction(connection, "BEGIN IMMEDIATE"):
            yield connection

    @contextmanager
    def alone(self) -> Iterator[sqlite3.Connection]:
        """A connection outside any transaction, for checks and copies."""
        with self._lent() as connection:
            yield connection

    @contextmanager
    def _lent(self) -> Iterator[sqlite3.Connection]:
        with self._telling():
            try:
                connection = self._idle.get_nowait()
            except Empty:
                connection = self._connect()
            try:
                yield connection
            finally:
                self._idle.put(connection)

    def _connect(self) -> sqlite3.Connection:
        # Blocks may end in another thread than they began in; only one has it at a time.
        connection = sqlite3.connect(
            self.path, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False
        )
        connection.row_factory = sqlite3.Row
        try:
            for pragma in _PRAGMAS:
                connection.execute(pragma)
        except BaseException:
            connection.close()
            raise
        return connection

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """Foreign errors -> LogbookError, in this one place."""
        try:
            yield
        except sqlite3.Error as error:
            raise LogbookError(f"{self.path}: {_meaning(error)}") from error
        except OSError as error:
            where = error.filename or self.path
            raise LogbookError(f"{where}: cannot be used ({error.strerror})") from error


@contextmanager
def _transaction(connection: sqlite3.Connection, begin: str) -> Iterator[None]:
    connection.execute(begin)
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # A full disk may have rolled back already.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _meaning(error: sqlite3.Error) -> str:
    said = str(error).lower()
    meant = next((text for sign, text in _MEANINGS if sign in said), None)
    return f"{meant} ({error})" if meant else str(error)


# ---- migrations ----------------------------------------------------------------------------------


def migrations() -> tuple[tuple[int, str], ...]:
    """(number, SQL) of every migration, in order. Numbers start at 1 and have no gaps."""
    folder = files("talklog") / "logbook" / "migrations"
    named = sorted((item.name, item) for item in folder.iterdir() if item.name.endswith(".sql"))
    return tuple((int(name[:4]), item.read_text("utf-8")) for name, item in named)


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring a book up to date, each step in a transaction of its own. Raises LogbookError for a
    file that is no logbook or comes from a newer talklog; such a file is not touched."""
    steps = migrations()
    _refuse_foreign(connection, path, newest=steps[-1][0])
    if version_of(connection) == 0:
        connection.execute("PRAGMA journal_mode = WAL")
    for number, script in steps:
        if version_of(connection) < number:
            _step(connection, number, script)


def version_of(connection: sqlite3.Connection) -> int:
    """The number of the last migration that a file has."""
    return connection.execute("PRAGMA user_version").fetchone()[0]


def _refuse_foreign(connection: sqlite3.Connection, path: Path, *, newest: int) -> None:
    marked = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if marked != APPLICATION_ID and (marked or tables):
        raise LogbookError(f"{path}: is no logbook of talklog; name another file with --book")
    version = version_of(connection)
    if version > newest:
        raise LogbookError(
            f"{path}: was written by a newer talklog (version {version} of the book, this one "
            f"knows {newest}); install the newer talklog"
        )


def _step(connection: sqlite3.Connection, number: int, script: str) -> None:
    with _transaction(connection, "BEGIN IMMEDIATE"):
        if version_of(connection) >= number:  # another process was quicker
            return
        for statement in statements(script):
            connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {number}")


def statements(script: str) -> Iterator[str]:
    """The statements of a script one by one: executescript would end the transaction."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
