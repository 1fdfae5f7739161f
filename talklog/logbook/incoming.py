"""A folder that a phone syncs into: which recordings are new, and what became of each.

The user's files are never moved, changed or deleted. A file counts as whole when it has not changed
for a while. What became of it is remembered in the book by path, size and time of change, so that
watching can be stopped and started at any moment; a file that is changed later is new again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from talklog.errors import TalklogError
from talklog.logbook.store import Logbook

QUIET_SECONDS = 4.0  # a file that changed within these may still be arriving


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a recording: the entry it made, or the reason why it made none."""

    path: Path
    entry: int | None
    reason: str


class Incoming:
    """The recordings of a folder, each taken once. ``take`` puts a recording into the book and
    returns the number of its entry and its SHA-256; it raises TalklogError for one that fails."""

    def __init__(
        self,
        book: Logbook,
        take: Callable[[Path], tuple[int, str]],
        *,
        clock: Callable[[], float] = time.time,
    ) -> None:
        self.book, self.take, self.clock = book, take, clock

    def new(self, files: Sequence[Path]) -> list[Path]:
        """Those that are whole and that nothing has become of yet."""
        known = self._known()
        return [path for path in files if self._is_whole(path) and _mark(path) not in known]

    def one(self, path: Path) -> Outcome:
        """Take a recording and remember what became of it."""
        mark = _mark(path)
        try:
            entry, sha256 = self.take(path)
        except TalklogError as error:
            self._remember(mark, "", "failed", str(error))
            return Outcome(path, None, str(error))
        self._remember(mark, sha256, "taken", f"entry {entry}")
        return Outcome(path, entry, "")

    def failures(self) -> list[tuple[str, str]]:
        """(path, reason) of what failed, the oldest first."""
        with self.book.database.reading() as connection:
            found = connection.execute(
                "SELECT path, reason FROM incoming WHERE state = 'failed' ORDER BY at, path"
            )
            return [(row["path"], row["reason"]) for row in found]

    def forget_failures(self) -> int:
        """Try what failed again. Returns how many there were."""
        with self.book.database.writing() as connection:
            return connection.execute("DELETE FROM incoming WHERE state = 'failed'").rowcount

    def _is_whole(self, path: Path) -> bool:
        try:
            return self.clock() - path.stat().st_mtime >= QUIET_SECONDS
        except OSError:
            return False  # gone again

    def _known(self) -> set[tuple[str, int, int]]:
        with self.book.database.reading() as connection:
            found = connection.execute("SELECT path, bytes, mtime_ns FROM incoming")
            return {(row["path"], row["bytes"], row["mtime_ns"]) for row in found}

    def _remember(self, mark: tuple[str, int, int], sha256: str, state: str, reason: str) -> None:
        with self.book.database.writing() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO incoming VALUES (?,?,?,?,?,?,?)",
                (*mark, sha256, state, reason, self.book.now()),
            )


def _mark(path: Path) -> tuple[str, int, int]:
    try:
        state = path.stat()
    except OSError:
        return str(path.absolute()), -1, -1
    return str(path.absolute()), state.st_size, state.st_mtime_ns
