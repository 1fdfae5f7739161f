"""A token of a line -> every number that may begin there, as atoms with their costs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import Decimal

from talklog.number_words.decimals import decimal_atoms
from talklog.number_words.fractions import fraction_atoms, ratio
from talklog.number_words.integers import below_hundred, typed_integer
from talklog.number_words.kinds import NUMBER_KINDS, Atom, Line, Token
from talklog.number_words.typed_words import range_ends
from talklog.number_words.wholes import whole_atoms

PAUSED = 1.5  # what each long pause inside a number costs
BROKEN = 4.0  # for a number that ends within a typed word: the "twenty" of "twenty-five"


def find_atoms(line: Line, at: int) -> list[Atom]:
    """Every number that may begin at this token, one (the cheapest) for each value and end.

    "one ten" -> 1, and 110 at a higher cost.
    """
    kind = line.kind(at)
    signed = kind in ("minus", "plus_minus")
    start = at + 1 if signed else at
    if start == len(line.tokens):
        return []
    found = [atom for rule in _UNSIGNED for atom in _multiplied(line, rule(line, start))]
    if signed:
        found = [_with_sign(atom, kind) for atom in found if atom.high is None]
    else:
        found += _ordinals(line, at)
    return _cheapest(_priced(line, at, atom) for atom in found)


def _priced(line: Line, at: int, atom: Atom) -> Atom:
    """With what its pauses and breaks cost."""
    pauses, broken = line.long_pauses(at, atom.end), line.cuts_a_word(atom.end)
    return replace(atom, cost=atom.cost + PAUSED * pauses + BROKEN * broken)


def _cheapest(atoms: Iterable[Atom]) -> list[Atom]:
    best: dict[tuple[int, str, bool], Atom] = {}
    for atom in sorted(atoms, key=lambda atom: atom.cost):
        best.setdefault((atom.end, atom.said, atom.form == "ordinal"), atom)
    return list(best.values())


def _with_sign(atom: Atom, kind: str) -> Atom:
    if kind == "plus_minus":
        return replace(atom, form="tolerance")
    return replace(atom, said=f"-{atom.said}")


def _multiplied(line: Line, atoms: Iterable[Atom]) -> Iterator[Atom]:
    """Each atom, and "two and a half thousand", "one point five thousand"."""
    for atom in atoms:
        yield atom
        if atom.form in ("mixed", "decimal") and line.kind(atom.end) == "scale":
            value = Decimal(atom.said) * line.value(atom.end)
            yield replace(atom, end=atom.end + 1, said=f"{value.normalize():f}")


# ---- less usual numbers --------------------------------------------------------------------------


def _couples(line: Line, at: int) -> Iterator[Atom]:
    """ "a couple of", "a couple of hundred"."""
    start = _after_article(line, at)
    if line.kind(start) == "couple":
        end = start + 2 if line.kind(start + 1) == "of" else start + 1
        yield Atom(end, "2", "rough")
        if line.kind(end) == "scale":
            yield Atom(end + 1, str(2 * line.value(end)), "rough")


def _dozens(line: Line, at: int) -> Iterator[Atom]:
    """ "two dozen", "a dozen", "half a dozen"."""
    counted = [*below_hundred(line, at), *typed_integer(line, at)]
    for end, count in [*counted, (_after_article(line, at), 1)]:
        if line.kind(end) == "dozen":
            yield Atom(end + 1, str(12 * count), "integer")
    half_a = line.kind(at) == "part" and line.value(at) == 2 and line.kind(at + 1) == "article"
    if half_a and line.kind(at + 2) == "dozen":
        yield Atom(at + 3, "6", "integer")


def _after_article(line: Line, at: int) -> int:
    return at + 1 if line.kind(at) == "article" else at


def _typed(line: Line, at: int) -> Iterator[Atom]:
    """What stands in one word: "12,500.5", "3-1/2", "10-15"."""
    text = line.tokens[at].text
    if line.kind(at) == "typed_decimal":
        said = text.replace(",", "")
        yield Atom(at + 1, f"0{said}" if said.startswith(".") else said, "typed")
    if line.kind(at) == "typed_mixed":
        whole, top, bottom = map(int, re.split("[-/]", text))
        yield Atom(at + 1, ratio(whole * bottom + top, bottom), "typed")
    if line.kind(at) == "typed_range":
        low, high = range_ends(text)
        yield Atom(at + 1, low, "typed", high=high)


# What begins a number, a sign aside. Of two atoms of the same cost the first is taken.
_UNSIGNED = (whole_atoms, decimal_atoms, fraction_atoms, _couples, _dozens, _typed)


# ---- places in a row -----------------------------------------------------------------------------


def _ordinals(line: Line, at: int) -> Iterator[Atom]:
    """ "first", "third", "twenty second", "2nd": a place in a row."""
    token = line.tokens[at]
    if token.kind == "typed_ordinal":
        yield Atom(at + 1, token.text[:-2], "ordinal")
    elif (value := _ordinal(token)) and line.kind(at - 1) not in NUMBER_KINDS:
        yield Atom(at + 1, str(value), "ordinal")
    if token.kind == "tens" and line.kind(at + 1) in ("first", "part"):
        last = _ordinal(line.tokens[at + 1])
        if last and last < 10:
            yield Atom(at + 2, str(token.value + last), "ordinal", cost=1.05)


def _ordinal(token: Token) -> int | None:
    if token.text in ("first", "second"):
        return 1 if token.text == "first" else 2
    plain = token.kind == "part" and token.text not in ("half", "quarter")
    return token.value if plain and not token.text.endswith("s") else None
