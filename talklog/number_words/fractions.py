"""Tokens -> the fractions and mixed numbers that may begin at one of them, as atoms."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from talklog.number_words.integers import hundreds
from talklog.number_words.kinds import NUMBER_KINDS, Atom, Line
from talklog.number_words.lexicon import lexicon
from talklog.number_words.wholes import whole_atoms

_HALVES = ("half", "halves", "quarter", "quarters")  # never the end of "twenty fourths"

Parts = Iterator[tuple[int, int, int, bool]]  # (end, numerator, denominator, solid)


def fraction_atoms(line: Line, at: int) -> Iterator[Atom]:
    """ "five sixteenths", "sixteenth of an inch", "three and a quarter"."""
    yield from _counted_parts(line, at)
    yield from _of_a_part(line, at)
    yield from _mixed(line, at)


def ratio(top: int, bottom: int) -> str:
    """The exact decimal of a fraction where there is one of at most 9 places, else 6 places."""
    value = Decimal(top) / Decimal(bottom)
    exact = value.quantize(Decimal("1e-9"))
    if exact * bottom == top:
        return f"{exact.normalize():f}"
    return f"{value:.6f}"


def _counted_parts(line: Line, at: int) -> Iterator[Atom]:
    """ "five sixteenths", "a quarter", and the tail "and a half"."""
    tail = at == 1 and line.kind(0) == "and"
    for end, top, bottom, solid in _parts(line, at):
        form = "tail" if tail else "typed" if line.kind(at) == "typed_part" else "fraction"
        dear = line.kind(at) == "article" and line.kind(end - 1) == "second"
        cost = 1.5 if dear else 1.2 if top > bottom else 1.0
        yield Atom(end, ratio(top, bottom), form, cost, solid)


def _of_a_part(line: Line, at: int) -> Iterator[Atom]:
    """ "sixteenth of an inch", "eighth inch": one part, with its "a" swallowed."""
    if line.kind(at - 1) in NUMBER_KINDS:
        return
    for end, bottom, plural in _denominators(line, at):
        if not plural and line.tokens[at].text not in ("half", "quarter") and bottom > 3:
            cost = 0.9 if line.kind(end) == "of" else 1.1
            yield Atom(end, ratio(1, bottom), "fraction", cost, solid=False)


def _mixed(line: Line, at: int) -> Iterator[Atom]:
    """ "five and a quarter", "three and three quarters", "two three eighths", typed "3 1/2"."""
    for whole in whole_atoms(line, at):
        if whole.form == "digits" or whole.said == "0":
            continue
        joined = line.kind(whole.end) == "and"
        if not joined and line.kind(whole.end) in ("part", "article"):
            continue
        for end, top, bottom, _ in _parts(line, whole.end + joined):
            if top < bottom:
                typed = line.kind(whole.end) == "typed_part"
                cost = whole.cost + (0.0 if joined or typed else 0.7)
                said = _sum(whole.said, ratio(top, bottom))
                yield Atom(end, said, "mixed", cost, whole.solid and joined)


def _sum(whole: str, part: str) -> str:
    return f"{whole}{part[1:]}"  # the part is below 1: "0.75"


# ---- numerators and denominators -----------------------------------------------------------------


def _parts(line: Line, at: int) -> Parts:
    """ "half", "a quarter", "five sixteenths", "an eighth", typed "5/16"."""
    if line.kind(at) == "typed_part":
        top, bottom = line.tokens[at].text.split("/")
        yield at + 1, int(top), int(bottom), True
    if line.kind(at) == "part" and line.tokens[at].text in ("half", "quarter"):
        yield at + 1, 1, line.value(at), True
    heads = [(at + 1, 1)] if line.kind(at) == "article" else list(hundreds(line, at))
    for middle, top in heads:
        for end, bottom, plural in _denominators(line, middle):
            if top == 1 and plural:
                continue
            unit_like = line.tokens[end - 1].text in lexicon().lists["unit_like.words"]
            yield end, top, bottom, top < bottom and not unit_like


def _denominators(line: Line, at: int) -> Iterator[tuple[int, int, bool]]:
    """(end, denominator, plural) of "eighths", "thirty seconds", "sixty fourths"."""
    kind, after = line.kind(at), line.kind(at + 1)
    if kind == "part":
        yield at + 1, line.value(at), _is_plural(line, at)
    if kind == "tens" and after in ("second", "part"):
        unit = line.value(at + 1) or 2
        if unit < 10 and line.tokens[at + 1].text not in _HALVES:
            yield at + 2, line.value(at) + unit, _is_plural(line, at + 1)
    ten = kind == "teen" and line.value(at) == 10
    if ten and after == "part" and line.value(at + 1) == 1000:  # "two ten thousandths"
        yield at + 2, 10_000, _is_plural(line, at + 1)


def _is_plural(line: Line, at: int) -> bool:
    return line.tokens[at].text.endswith("s")
