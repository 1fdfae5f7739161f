"""Tokens -> the whole numbers that may begin at one of them, as atoms."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.number_words.integers import below_hundred, cardinals, digit, digit_strings, two_digits
from talklog.number_words.kinds import Atom, Line


def whole_atoms(line: Line, at: int) -> Iterator[Atom]:
    """ "twelve hundred", "one ten", "one two three four"."""
    yield from _plain(line, at)
    yield from _grouped(line, at)
    yield from _digits(line, at)


def _plain(line: Line, at: int) -> Iterator[Atom]:
    bare = line.kind(at) == "scale"
    for end, value in cardinals(line, at):
        form = "typed" if line.kind(at) == "typed_integer" and end == at + 1 else "integer"
        yield Atom(end, str(value), form, cost=1.8 if bare else 1.0)
    if line.kind(at) == "zero":
        yield Atom(at + 1, "0", "integer")


# ---- two digits by two ---------------------------------------------------------------------------


def _grouped(line: Line, at: int) -> Iterator[Atom]:
    """ "one ten" 110, "twelve fifty" 1250, "twelve oh five" 1205, "two thousand eight twenty"
    2820."""
    for end, head in below_hundred(line, at):
        cost = 1.3 if head < 10 else 1.5 if end == at + 1 else 1.7
        yield from _hundreds_and(line, end, head, cost)
        if head < 10 and line.kind(end) == "unit":  # "two nine fifty", more often 2 and 950
            yield from _hundreds_and(line, end + 1, head * 10 + line.value(end), cost=3.0)
        if line.is_scale(end, 1000) and line.kind(end + 1) == "unit":
            yield from _hundreds_and(line, end + 2, head * 10 + line.value(end + 1), cost=1.3)
        if head >= 10 and line.kind(end) == "oh" and line.kind(end + 1) == "unit":
            value = head * 100 + line.value(end + 1)
            yield Atom(end + 2, str(value), "grouped", cost=1.2, solid=False)


def _hundreds_and(line: Line, at: int, hundreds: int, cost: float) -> Iterator[Atom]:
    """So many hundreds, and the two digits that begin at ``at``."""
    for end, tail in two_digits(line, at):
        yield Atom(end, str(hundreds * 100 + tail), "grouped", cost, solid=False)


# ---- digits one by one ---------------------------------------------------------------------------


def _digits(line: Line, at: int) -> Iterator[Atom]:
    """ "one two three four", "one oh five", "double four", "oh four".

    A string may end where the digits end, one before (that digit may begin the next number), at a
    pause, or after "one oh five"; it may begin likewise. That keeps the readings few.
    """
    if not _may_begin_digits(line, at):
        return
    found = list(digit_strings(line, at))
    for count, (end, text) in enumerate(found):
        oh_inside = len(text) == 3 and line.kind(at + 1) in ("oh", "zero")
        may_end = count >= len(found) - 2 or line.pauses_before(end) or oh_inside
        ohs_only = all(line.kind(place) == "oh" for place in range(at, end))
        if may_end and len(text) > 1 and not ohs_only:
            yield Atom(end, text, "digits", _digits_cost(line, at, end, text), solid=False)


def _may_begin_digits(line: Line, at: int) -> bool:
    if digit(line, at) is None:
        return False
    inside = [digit(line, at - back) is not None and back <= at for back in (1, 2)]
    triple_before = line.kind(at - 2) in ("oh", "zero")
    return not all(inside) or line.pauses_before(at) or triple_before


def _digits_cost(line: Line, at: int, end: int, text: str) -> float:
    kinds = {line.kind(place) for place in range(at, end)}
    pair = end == at + 2 and line.kind(at) == "unit"  # "six oh" is six point nought
    if "repeat" in kinds or (len(text) <= 3 and "oh" in kinds and not pair):
        return 1.2
    return 1.4 + 0.4 * len(text)
