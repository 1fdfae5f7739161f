"""A line of tokens -> the ways to read it: atoms joined from left to right, the cheapest first.

Numbers next to each other are never added: "ten to fifteen" is a range or two numbers, not 25.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from talklog.number_words.kinds import LONG_PAUSE, NUMBER_KINDS, SHORT_PAUSE, Atom, Line
from talklog.number_words.lexicon import lexicon

BEAM = 12  # paths that are followed on from each token
NEVER = 6.0  # so dear that it happens only where nothing else is left
RANGE = -0.5  # a range is more usual than its two ends as numbers of their own
SKIPPED = {  # what it costs to leave a token out of every number; not listed: not possible
    "and": 0.1, "to": 0.1, "article": 0.1, "of": 0.1, "second": 0.2, "first": 1.2, "part": 3.0,
    "oh": 0.4, "repeat": 0.3, "couple": 1.2, "dozen": 1.2, "point": 0.6, "minus": 0.1,
    "plus_minus": 0.1,
}  # fmt: skip
JOINERS = ("and", "to", "article", "of")

Spans = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Path:
    """A reading of the tokens up to some point; ``earlier`` leads back to its start."""

    cost: float
    start: int = 0  # of the last atom
    atom: Atom | None = None
    earlier: Path | None = None

    def numbers(self) -> tuple[tuple[int, Atom], ...]:
        """The atoms in the order they were said, each with the token it starts at."""
        found: list[tuple[int, Atom]] = []
        step: Path | None = self
        while step is not None and step.atom is not None:
            found.append((step.start, step.atom))
            step = step.earlier
        return tuple(reversed(found))


def cheapest_paths(line: Line, atoms: Sequence[list[Atom]]) -> list[Path]:
    """Beam search, left to right; the work grows with the length of the line, not faster.
    ``atoms``: those that may begin at each token.

    "one ten" -> the path of 110, then that of 1 and 10.
    """
    across = _straddling(atoms)
    paths: list[list[Path]] = [[] for _ in range(len(atoms) + 1)]
    paths[0] = [Path(0.0)]
    for at, starting in enumerate(atoms):
        paths[at] = sorted(paths[at], key=lambda path: path.cost)[:BEAM]
        paths[at + 1] += _skipping(line, paths[at], at, across[at], bool(starting))
        for atom in starting:
            paths[atom.end] += _extended(line, paths[at], at, atom, across[at])
    return sorted(paths[-1], key=lambda path: path.cost)


def _straddling(atoms: Sequence[list[Atom]]) -> list[Spans]:
    """For each token, the solid numbers that run across the gap before it."""
    across: list[Spans] = [[] for _ in atoms]
    for at, starting in enumerate(atoms):
        for end in {atom.end for atom in starting if atom.solid}:
            for inside in range(at + 1, end):
                across[inside].append((at, end))
    return across


# ---- leaving a token out -------------------------------------------------------------------------


def _skipping(
    line: Line, paths: list[Path], at: int, solids: Spans, begins: bool
) -> Iterator[Path]:
    """The paths that leave a token out; ``begins`` when a number could begin there."""
    price = _skip_cost(line, at, begins=begins)
    if price is None:
        return
    for path in paths:
        inside = line.kind(at) not in JOINERS and any(start >= path.start for start, _ in solids)
        yield replace(path, cost=path.cost + price + (NEVER if inside else 0.0))


def _skip_cost(line: Line, at: int, *, begins: bool) -> float | None:
    token, after_number = line.tokens[at], line.kind(at - 1) in NUMBER_KINDS
    if token.soft:
        return 0.2
    if token.kind in ("minus", "plus_minus", "repeat", "point") and begins:
        return NEVER
    if token.text in lexicon().lists["unit_like.words"]:
        lone = line.kind(at - 1) == "article" and line.kind(at - 2) not in NUMBER_KINDS
        return 0.2 if after_number and not lone else 1.2  # "a tenth" is a number, "six tenths" 0.6
    if token.kind == "oh" and after_number:
        return 1.4
    return SKIPPED.get(token.kind)


# ---- one more number -----------------------------------------------------------------------------


def _extended(line: Line, paths: list[Path], at: int, atom: Atom, solids: Spans) -> Iterator[Path]:
    """The paths with one more number, or with their last number made into a range."""
    for path in paths:
        cost = path.cost + atom.cost
        if path.atom is None:
            yield Path(cost, at, atom, path)
            continue
        split = NEVER if _splits_a_number(line, path, at, atom, solids) else 0.0
        yield Path(cost + split + _neighbour_cost(line, path, at, atom), at, atom, path)
        joined = _range_of(line, path, at, atom)
        if joined is not None:
            yield Path(cost + RANGE, path.start, joined, path.earlier)


def _splits_a_number(line: Line, path: Path, at: int, atom: Atom, solids: Spans) -> bool:
    """Would this cut a plain number in two ("twenty" | "five") with no pause to excuse it?"""
    if line.cuts_a_word(at):
        return True
    inside = any(start >= path.start and end >= atom.end for start, end in solids)
    end = path.atom.end if path.atom else at
    pause = max(token.pause for token in line.tokens[end : at + 1])
    if line.kind(end - 1) == "scale":  # "two thousand, five hundred": a comma is no break
        return inside and pause <= LONG_PAUSE
    return inside and pause < SHORT_PAUSE


def _neighbour_cost(line: Line, path: Path, at: int, atom: Atom) -> float:
    """Dear: a decimal with no whole part straight after a number, a digit string or an unsaid
    point beside another number, neighbours of unlike length."""
    assert path.atom is not None
    if path.atom.end < at or line.pauses_before(at):
        return 0.0
    if line.kind(at) == "point":
        return 1.5
    left, right = path.atom.said, atom.said
    if _is_loose(line, path.start, path.atom) or _is_loose(line, at, atom):
        return 1.0
    plain = "." not in left + right and len(left) > 1 and len(right) > 1
    return 0.5 if plain and len(left) != len(right) else 0.0


def _is_loose(line: Line, start: int, atom: Atom) -> bool:
    """Digit strings and unsaid points seldom stand right beside another number; "one oh five"
    does."""
    oh_inside = len(atom.said) == 3 and line.kind(start + 1) in ("oh", "zero")
    return atom.form == "implied" or (atom.form == "digits" and not oh_inside)


def _range_of(line: Line, path: Path, at: int, atom: Atom) -> Atom | None:
    """ "eight to ten", "between ten and fifteen": only ever upwards."""
    low = path.atom
    assert low is not None
    if low.end != at - 1 or low.high or atom.high or "ordinal" in (low.form, atom.form):
        return None
    between = (line.before if path.start == 0 else "") == "between"
    if line.kind(at - 1) != "to" and not (line.kind(at - 1) == "and" and between):
        return None
    if Decimal(low.said) >= Decimal(atom.said):
        return None
    return replace(low, end=atom.end, high=atom.said)
