"""How far a long job is, for stderr: one moving line on a terminal, a few plain lines elsewhere."""

from __future__ import annotations

from collections.abc import Callable

SLOW_SECONDS = 20.0  # work shorter than this needs no progress
WORK_PER_SECOND = 0.1  # of sound, on one slow core; measured about 0.03
STEP = 10  # percent, or minutes, between plain lines


class Progress:
    """Call it with seconds done and seconds in all; it writes when there is something to say."""

    def __init__(self, name: str, write: Callable[[str], object], *, terminal: bool) -> None:
        self.name, self.write, self.terminal = name, write, terminal
        self.shown = ""

    def __call__(self, done: float, total: float | None) -> None:
        if (total or done) * WORK_PER_SECOND < SLOW_SECONDS:
            return
        text = self._told(done, total)
        if text == self.shown:
            return
        self.shown = text
        moving = self.terminal and done != total
        # Back to the start of the line, so that whatever comes next is written over it.
        self.write(f"{text}\r" if moving else f"{text}\n")

    def _told(self, done: float, total: float | None) -> str:
        if total is None:
            return f"{self.name}: {self._step(done / 60)} minutes heard"
        percent = self._step(min(100.0, 100 * done / total))
        return f"{self.name}: {percent} % of {total / 60:.0f} minutes heard"

    def _step(self, amount: float) -> int:
        return int(amount) if self.terminal else int(amount) // STEP * STEP
