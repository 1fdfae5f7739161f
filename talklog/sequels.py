"""Step 5c: the roles of values of one thing, decided together. Knows no bands.

A thing that is measured twice was mostly found at one value and left at the other: what a second
value is says what the first was. The roles of each line of values are the most probable ones by the
trained reader and by how often one role follows another in the hand-written notes (first-order
Markov chain, best path by Viterbi 1967).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import log

from talklog.chooser import pair_weights
from talklog.notes import Reading
from talklog.roled import MEASURING

# In the file of weights: "as_found as_left" -> log of how much oftener so than at all.
CHOICE = "sequel"
BEGIN, END = "begin", "end"
WEIGHT = 0.8  # of the chain against the reader; chosen on the notes of dev and check
LEAST = 1e-4  # of a role, so that none is excluded
Roles = Mapping[str, float]


def settle_sequels(readings: Sequence[Reading], chances: Sequence[Roles]) -> tuple[Reading, ...]:
    """Readings in the order in which they were said, with their final roles. ``chances``: of each
    how probable the roles MEASURING are."""
    found = list(readings)
    for line in _lines(readings):
        roles = _best([chances[at] for at in line])
        for at, role in zip(line, roles, strict=True):
            found[at] = _changed(readings[at], role)
    return tuple(found)


def _lines(readings: Sequence[Reading]) -> list[list[int]]:
    """The readings of each thing, by their index."""
    lines: list[list[int]] = []
    for at, reading in enumerate(readings):
        own = next(
            (line for line in reversed(lines) if _goes_on(readings[line[-1]], reading)), None
        )
        if own is None:
            lines.append([at])
        else:
            own.append(at)
    return lines


def _goes_on(one: Reading, other: Reading) -> bool:
    same = (one.component, one.quantity) == (other.component, other.quantity)
    return same and (one.position == other.position or other.position is None)


def _best(chances: Sequence[Roles]) -> tuple[str, ...]:
    weights = pair_weights(CHOICE)
    best = {BEGIN: (0.0, ())}
    for own in chances:
        best = {role: max((score + WEIGHT * weights[f"{before} {role}"]
                           + log(max(own.get(role, 0.0), LEAST)), (*path, role))
                          for before, (score, path) in best.items())
                for role in MEASURING}  # fmt: skip
    ended = ((score + WEIGHT * weights[f"{role} {END}"], path)
             for role, (score, path) in best.items())  # fmt: skip
    return max(ended)[1]


def _changed(reading: Reading, role: str) -> Reading:
    if role == reading.role:
        return reading
    reason = f"{reading.reason}; {role} by the other values of the same thing"
    return replace(reading, role=role, reason=reason)
