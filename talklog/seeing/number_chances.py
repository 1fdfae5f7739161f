"""A note as it was read -> what each of its numbers probably is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from talklog.mentions import Mention, near
from talklog.roled import RoledNumber
from talklog.seeing.kinds import NumberSeen, ReadNote
from talklog.seeing.spans import over
from talklog.seeing.things import owners
from talklog.vocabulary import load

if TYPE_CHECKING:
    import numpy as np

# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
SAID_PLACE = 0.5  # of a word to say the place of a number
SURE_PLACE = 0.55  # the same, of a word that is mostly none: "high"
MAYBE_PLACE = 0.2  # the same, where a rule takes it for the place
NUMBERED = -(10**6)  # the axis of places that are numbers
JOINING = ("and", "to", "the", "side", "hand", "end")  # words within "left side to right side"


def see_numbers(note: ReadNote, roled: Sequence[RoledNumber]) -> tuple[NumberSeen, ...]:
    """What each number probably is, in the order of the numbers."""
    return tuple(_number(note, at, item.number.first) for at, item in enumerate(roled))


def _number(note: ReadNote, at: int, first: int) -> NumberSeen:
    from talklog.notearrays import QUANTITIES, ROLES
    from talklog.notenet import REACH

    likely, chances = note.likely, note.likely.places[at]
    around = {least: frozenset(first + away - REACH for away in over(chances, least))
              for least in (SAID_PLACE, MAYBE_PLACE, SURE_PLACE)}  # fmt: skip
    place = {word: float(chances[word - first + REACH]) for word in sorted(around[SAID_PLACE])}
    return NumberSeen(
        roles=dict(zip(ROLES, likely.roles[at].tolist(), strict=True)),
        quantities=dict(zip(QUANTITIES, likely.quantities[at].tolist(), strict=True)),
        owners=owners(note, likely.things[at], first),
        place=tuple(sorted(_one_of_each_axis(note, place))),
        maybe_place=around[MAYBE_PLACE],
        sure_place=around[SURE_PLACE],
        place_chance=float(chances.clip(min=1 - chances).prod()),
        units=_chances_of(note.mentions.of("unit"), likely.units[at], first),
    )


def _one_of_each_axis(note: ReadNote, place: dict[int, float]) -> set[int]:
    """Nothing is both left and right, or two and three: of the words on one axis the most
    probable stays, with those that are said together with it: "left to right"."""
    best: dict[int, int] = {}
    numbered = {at for run in note.mentions.numbers for at in range(run.first, run.last + 1)}
    axes: dict[int, int] = {}
    for at in sorted(place, key=place.__getitem__):
        axis = load().axes.get(note.words[at].removesuffix("'s"), 0)
        axes[at] = NUMBERED if at in numbered else axis
        best[axes[at] or -at - 1] = at
    chosen = set(best.values())
    return chosen | {at for at in place for own in chosen
                     if axes[at] == axes[own] and _is_stretch(note, at, own)}  # fmt: skip


def _is_stretch(note: ReadNote, one: int, other: int) -> bool:
    """ "left to right", "top and bottom"; of numbers only "between two and three"."""
    first, last = sorted((one, other))
    inside = note.words[first + 1 : last]
    numbered = any(run.first <= first <= run.last
                   for run in near(note.mentions.numbers, first, first))  # fmt: skip
    between = "between" in note.words[max(0, first - 2) : first]
    joined = {"and", "to"} & set(inside) and set(inside) <= set(JOINING)
    return bool(joined) and (between or not numbered)


def _chances_of(
    spans: Sequence[Mention], chances: np.ndarray, at: int
) -> dict[Mention | None, float]:
    """The probability of each span in the window around a word, and of none of them."""
    from talklog.notenet import REACH

    found: dict[Mention | None, float] = {None: float(chances[-1])}
    for span in near(spans, at, at):
        low, high = max(0, span.first - at + REACH), span.last - at + REACH + 1
        own = float(chances[low : min(high, len(chances) - 1)].sum()) if low < high else 0.0
        found[span] = own
    return found
