"""How far a long job is, for stderr: one moving line on a terminal, a few plain lines elsewhere."""

from __future__ import annotations

from collections.abc import Callable

SLOW_SECONDS = 20.0  # work shorter than this needs no progress
WORK_PER_SECOND = 0.1  # of sound, on one slow core; measured about 0.03
STEP = 10  # percent between plain lines


class Progress:
    """Call it with seconds done and seconds in all; it writes when there is something to say."""

    def __init__(self, name: str, write: Callable[[str], object], *, terminal: bool) -> None:
        self.name, self.write, self.terminal = name, write, terminal
        self.shown = -1

    def __call__(self, done: float, total: float | None) -> None:
        if total is None or total * WORK_PER_SECOND < SLOW_SECONDS:
            return
        percent = min(100, int(100 * done / total))
        if not self.terminal:
            percent -= percent % STEP
        if percent == self.shown:
            return
        self.shown = percent
        text = f"{self.name}: {percent} % of {total / 60:.0f} minutes heard"
        ending = "\n" if percent == 100 or not self.terminal else ""
        self.write(f"\r{text}{ending}" if self.terminal else f"{text}{ending}")
