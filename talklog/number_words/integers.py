"""Tokens -> the integers and the strings of digits that begin at one of them, each with its end."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from talklog.number_words.kinds import Line

MOST_DIGITS = 12  # longest digit string read as one number

Integers = Iterator[tuple[int, int]]  # (end, value)


# ---- standard English ----------------------------------------------------------------------------


def below_hundred(line: Line, at: int) -> Integers:
    """1 to 99: "eight", "twelve", "twenty", "twenty five"."""
    kind = line.kind(at)
    if kind in ("unit", "teen", "tens"):
        yield at + 1, line.value(at)
    if kind == "tens" and line.kind(at + 1) == "unit":
        yield at + 2, line.value(at) + line.value(at + 1)


def two_digits(line: Line, at: int) -> Integers:
    """10 to 99."""
    return ((end, value) for end, value in below_hundred(line, at) if value >= 10)


def typed_integer(line: Line, at: int) -> Integers:
    if line.kind(at) == "typed_integer":
        yield at + 1, int(line.tokens[at].text.replace(",", ""))


def hundreds(line: Line, at: int) -> Integers:
    """1 to 9999 with no "thousand": "a hundred and ten", "eleven hundred"."""
    heads = [*below_hundred(line, at), *typed_integer(line, at)]
    yield from heads
    yield from _scaled(line, at, heads, 100, below_hundred)


def cardinals(line: Line, at: int) -> Integers:
    """Every end at which a standard English whole number that begins here may stop."""
    heads = list(_thousands(line, at))
    yield from heads
    yield from _scaled(line, at, heads, 1_000_000, _thousands)


def _thousands(line: Line, at: int) -> Integers:
    heads = list(hundreds(line, at))
    yield from heads
    yield from _scaled(line, at, heads, 1000, hundreds)


def _scaled(
    line: Line,
    at: int,
    heads: Iterable[tuple[int, int]],
    scale: int,
    tail: Callable[[Line, int], Integers],
) -> Integers:
    """head + "hundred" (or "a", or nothing, + "hundred") + ["and"] + tail below the scale."""
    article = at + 1 if line.kind(at) == "article" else at
    for end, head in [*heads, (article, 1)]:
        if line.is_scale(end, scale):
            yield end + 1, head * scale
            after = end + 2 if line.kind(end + 1) == "and" else end + 1
            yield from ((stop, head * scale + n) for stop, n in tail(line, after) if n < scale)


# ---- digits one by one ---------------------------------------------------------------------------


def digit(line: Line, at: int) -> tuple[int, str] | None:
    """One spoken digit, or a repeated one: "oh", "four", "double four"."""
    if line.kind(at) == "repeat":
        single = line.kind(at + 1) in ("zero", "oh", "unit")
        return (at + 2, str(line.value(at + 1)) * line.value(at)) if single else None
    if line.kind(at) in ("zero", "oh", "unit"):
        return at + 1, str(line.value(at))
    return None


def digit_strings(line: Line, at: int) -> Iterator[tuple[int, str]]:
    """Every string of spoken digits that begins here, shortest first."""
    text = ""
    while len(text) < MOST_DIGITS and (found := digit(line, at)):
        at, digits = found[0], text + found[1]
        text = digits
        yield at, digits
