"""Tokens -> the numbers with a point, said or not, that may begin at one of them, as atoms."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.number_words.integers import below_hundred, digit, digit_strings, two_digits
from talklog.number_words.kinds import Atom, Line
from talklog.number_words.wholes import whole_atoms


def decimal_atoms(line: Line, at: int) -> Iterator[Atom]:
    """ "nought point two five", "thirty point oh"; "fourteen seven" for 14.7."""
    yield from _pointed(line, at)
    yield from _below_one_unpointed(line, at)
    yield from _unpointed(line, at)


# ---- with "point" --------------------------------------------------------------------------------


def _pointed(line: Line, at: int) -> Iterator[Atom]:
    """ "nought point two five", "point oh eight", "thirty point oh", "one oh two point five"."""
    for whole in _before_point(line, at):
        if line.kind(whole.end) != "point":
            continue
        tails = list(_after_point(line, whole.end + 1))
        for end, digits, plain in tails:
            cost = whole.cost + (0.0 if plain else 0.6 if whole.said == "0" else 1.2)
            yield Atom(end, f"{whole.said}.{digits}", "decimal", cost, whole.solid and plain)
        if not tails and whole.end > at:
            yield Atom(whole.end + 1, whole.said, "unfinished", whole.cost, whole.solid)


def _before_point(line: Line, at: int) -> Iterator[Atom]:
    """What may stand before "point", nothing included."""
    if line.kind(at) == "point":
        yield Atom(at, "0", "decimal", cost=1.5 if line.tokens[at].soft else 1.0)
    if line.kind(at) == "oh":
        yield Atom(at + 1, "0", "integer")
    yield from whole_atoms(line, at)


def _after_point(line: Line, at: int) -> Iterator[tuple[int, str, bool]]:
    """(end, digits, plain) after "point": "oh eight", "twenty five", "oh twelve", "one twenty"."""
    for end, tail in two_digits(line, at):
        yield end, str(tail), True
    for end, digits in digit_strings(line, at):
        yield end, digits, True
        zeros = not digits.strip("0")
        if zeros or len(digits) == 1:
            yield from ((stop, f"{digits}{n}", zeros) for stop, n in two_digits(line, end))
    if line.kind(at) == "typed_integer":
        yield at + 1, line.tokens[at].text.replace(",", ""), True


# ---- without it ----------------------------------------------------------------------------------


def _below_one_unpointed(line: Line, at: int) -> Iterator[Atom]:
    """ "nought two five" for 0.25 or 0.025."""
    if line.kind(at) not in ("zero", "oh") or digit(line, at - 1) is not None:
        return
    for end, digits in digit_strings(line, at + 1):
        if len(digits) == 1 and digits != "0":  # "oh six", mostly a digit string
            yield _implied(end, f"0.0{digits}", cost=3.2)
        elif len(digits) > 1:
            yield _implied(end, f"0.{digits}", cost=2.4)
            yield _implied(end, f"0.0{digits}", cost=2.5)


def _unpointed(line: Line, at: int) -> Iterator[Atom]:
    """ "fourteen seven" for 14.7, "nine two" for 9.2, "fourteen seventy"."""
    for end, head in below_hundred(line, at):
        joined = end == at + 1 and (line.kind(at), line.kind(end)) == ("tens", "unit")
        if line.kind(end) == "repeat" or joined:
            continue
        tails = [pair for pair in digit_strings(line, end) if len(pair[1]) <= 2]
        if head >= 10:
            tails += [(stop, str(tail)) for stop, tail in two_digits(line, end)]
        for stop, digits in tails:
            cost = 2.2 if head >= 10 else 2.15 if len(digits) == 1 else 2.7
            yield _implied(stop, f"{head}.{digits}", cost)


def _implied(end: int, said: str, cost: float) -> Atom:
    return Atom(end, said, "implied", cost, solid=False)
