"""A folder that a phone syncs into: which recordings are new, and what became of each.

The user's files are never moved, changed or deleted. A file counts as whole when it has not changed
for a while, by its own time of change or, where that cannot be trusted (a phone whose clock runs
ahead, a copy that keeps the old time), by what was seen here. What became of it is remembered in
the book by path, size and time of change, so that watching can be stopped and started at any
moment; a file that is changed later is new again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from talklog.errors import LogbookError, TalklogError
from talklog.logbook.store import Logbook

QUIET_SECONDS = 4.0  # a file that changed within these may still be arriving
_Mark = tuple[str, int, int]  # path, size, time of change


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
        self.seen: dict[_Mark, float] = {}  # when a file was first met in this state

    def new(self, files: Sequence[Path]) -> list[Path]:
        """Those that are whole and that nothing has become of yet."""
        known = self._known()
        marks = {path: _mark(path) for path in files}
        self.seen = {mark: self.seen.get(mark, self.clock()) for mark in marks.values()}
        return [p for p, mark in marks.items() if mark not in known and self._is_whole(mark)]

    def arriving(self, files: Sequence[Path]) -> bool:
        """Is there one that may still be growing? To be asked after ``new``."""
        known = self._known()
        return any(
            mark not in known and mark[1] >= 0 and not self._is_whole(mark)
            for mark in map(_mark, files)
        )

    def one(self, path: Path) -> Outcome:
        """Take a recording and remember what became of it.

        Raises LogbookError when the book cannot be written: that is no fault of the recording,
        which is tried again when somebody has made room.
        """
        mark = _mark(path)
        try:
            entry, sha256 = self.take(path)
        except LogbookError:
            if _mark(path) == mark:
                raise
            return Outcome(
                path, None, "it changed while it was heard; it is taken when it is whole"
            )
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

    def _is_whole(self, mark: _Mark) -> bool:
        now, (_path, size, changed) = self.clock(), mark
        if size < 0:
            return False  # gone again
        age = now - changed / 1e9
        watched = now - self.seen.get(mark, now)
        # A negative age is another clock's: then only what was seen here counts.
        return age >= QUIET_SECONDS or watched >= QUIET_SECONDS

    def _known(self) -> set[_Mark]:
        with self.book.database.reading() as connection:
            found = connection.execute("SELECT path, bytes, mtime_ns FROM incoming")
            return {(row["path"], row["bytes"], row["mtime_ns"]) for row in found}

    def _remember(self, mark: _Mark, sha256: str, state: str, reason: str) -> None:
        with self.book.database.writing() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO incoming VALUES (?,?,?,?,?,?,?)",
                (*mark, sha256, state, reason, self.book.now()),
            )


def _mark(path: Path) -> _Mark:
    try:
        state = path.stat()
    except OSError:
        return str(path.absolute()), -1, -1
    return str(path.absolute()), state.st_size, state.st_mtime_ns
