"""A line of tokens -> the one way to read it in which all its numbers have the same form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from talklog.number_words.kinds import Atom, Line

FEWEST = 3  # whole numbers that show the form of a list: "ninety two ninety four" may be 92.94
FEWEST_POINTED = 2  # the same of numbers with a point: "point one four point one five"
LONGEST = 40  # tokens of a line that is looked at
TELLING = ("integer", "decimal")  # forms of numbers that show how a list is said
FORMS = (*TELLING, "grouped", "digits", "implied")  # forms that the same words could have
DIGITS = ("unit", "zero", "oh", "repeat")  # what a spelled number begins with
SHORTEST = 2  # digits of a whole number: "two two and two four" may be 2.2 and 2.4
JOINING = ("and",)  # kinds of tokens that may stand between two numbers of a list

Form = tuple[bool, bool, int]  # with a point, with something said before it, digits behind it
Steps = tuple[tuple[int, Atom], ...]  # atoms, each with the token it starts at


@dataclass(frozen=True, slots=True)
class Ways:
    """How many ways lead to a token, two at most, and one of them."""

    count: int
    steps: Steps = ()


def alike_steps(line: Line, atoms: Sequence[Sequence[Atom]]) -> Steps | None:
    """The atoms of the only reading of a whole line whose numbers are all of one form: "six point
    one six point three" is 6.1, 6.3, "twenty nine thirty thirty one" 29, 30, 31."""
    if len(line.tokens) > LONGEST:
        return None
    forms = {form for at, some in enumerate(atoms) for atom in some
             if (form := _form(line, at, atom))}  # fmt: skip
    ways = [_ways(line, atoms, form) for form in sorted(forms)]
    found = [way for way in ways if len(way.steps) >= FEWEST_POINTED]
    unique = len(found) == 1 and found[0].count == 1 and _is_list(line, found[0].steps)
    return found[0].steps if unique else None


def _is_list(line: Line, steps: Steps) -> bool:
    """Whether numbers of one form show how a list is said: not digits that are spelled."""
    (_, first), pointed = steps[0], steps[0][1].form == "decimal"
    spelled = any(_is_spelled(line, at) if pointed else len(atom.said) < SHORTEST
                  for at, atom in steps)  # fmt: skip
    fewest = FEWEST_POINTED if pointed else FEWEST
    told = all(atom.form in TELLING and atom.form == first.form for _, atom in steps)
    return told and not spelled and len(steps) >= fewest


def _is_spelled(line: Line, at: int) -> bool:
    """The "one three" of "one three point nine", which may be 3.9 at the first place."""
    return line.kind(at) in DIGITS and line.kind(at + 1) != "point"


def _form(line: Line, at: int, atom: Atom) -> Form | None:
    """The form of a number; ``None`` of one that shows none."""
    if atom.form not in FORMS or atom.high is not None:
        return None
    whole, _, part = atom.said.partition(".")
    said = line.kind(at + (line.kind(at) == "minus")) != "point"
    return (True, said, len(part)) if part else (False, True, len(whole))


def _ways(line: Line, atoms: Sequence[Sequence[Atom]], form: Form) -> Ways:
    """The ways to read the whole line in numbers of one form."""
    reached = {0: Ways(1)}
    for at, some in enumerate(atoms):
        here = reached.get(at)
        if here is None:
            continue
        if here.steps and line.kind(at) in JOINING:
            _reach(reached, at + 1, here)
        for atom in some:
            if _form(line, at, atom) == form and not line.long_pauses(at, atom.end):
                _reach(reached, atom.end, Ways(here.count, (*here.steps, (at, atom))))
    return reached.get(len(atoms), Ways(0))


def _reach(reached: dict[int, Ways], at: int, way: Ways) -> None:
    before = reached.get(at)
    reached[at] = Ways(min(2, way.count + before.count), before.steps) if before else way
