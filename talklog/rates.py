"""Words behind a value that make it so much in a time, or to a length. Knows no bands."""

from __future__ import annotations

from collections.abc import Sequence

RATE = "a rate whose unit is not known"
TIMES = (  # "litres a second", "a litre a day"
    "second", "sec", "minute", "min", "hour", "day", "night", "week", "month", "year", "shift",
    "mile", "kilometre", "kilometer",
)  # fmt: skip


def is_rate(following: Sequence[str]) -> bool:
    """ "per ...", "a second", "every day": behind a value or a unit that is none of those known
    whole."""
    return following[:1] == ["per"] or (
        following[:1] in (["a"], ["an"], ["every"]) and following[1:2] in ([time] for time in TIMES)
    )
