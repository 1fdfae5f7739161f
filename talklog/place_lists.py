"""Places by number that are said in one list: "on one, three and five". Knows no bands.

The trained reader often knows only one of them for a place, and takes the others for counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from talklog.places import LARGEST_PLACE
from talklog.roled import RoledNumber
from talklog.scopes import paused
from talklog.seeing.kinds import Seen
from talklog.transcript import Transcript

PLAIN = ("integer", "typed", "digits")  # forms of a number that may be a place
# P(place) from which a number that stands in a list with places is one. Chosen by hand: what joins
# it to them says more than the reader does.
PERHAPS = 0.2
BESIDE: tuple[str, ...] = ()
AND = ("and",)


class Said(NamedTuple):
    """A place by number and the words that say it."""

    place: int
    first: int
    last: int


def lists_of(transcript: Transcript, places: Sequence[Said]) -> list[tuple[int, ...]]:
    """Which of the places, by their indices, are said in one list: they count up, nothing stands
    between them but an "and" before the last ones, and one does."""
    found: list[tuple[int, ...]] = []
    line: list[int] = [0] if places else []
    joined = False  # whether the list has its "and"
    for at, (one, other) in enumerate(pairwise(places), start=1):
        between = tuple(word.text for word in transcript.words[one.last + 1 : other.first])
        follows = between == AND or (between == BESIDE and not joined)
        if not follows or one.place >= other.place or paused(transcript, one.last, other.first):
            found += [tuple(line)] if joined else []
            line, joined = [], False
        line.append(at)
        joined = len(line) > 1 and (joined or between == AND)
    return [*found, tuple(line)] if joined else found


def with_listed_places(
    transcript: Transcript, roled: Sequence[RoledNumber], seen: Seen
) -> tuple[RoledNumber, ...]:
    """The numbers, where those that are listed with the place of a value are places too."""
    result = list(roled)
    placing = {at for number in seen.numbers for at in number.place}
    chances = [number.roles.get("position", 0.0) for number in seen.numbers]
    able = [at for at, item in enumerate(roled) if _may_be(item, chances[at])]
    said = [Said(int(roled[a].number.value), roled[a].first, roled[a].last) for a in able]
    for line in lists_of(transcript, said):
        members = [able[at] for at in line]
        if not any(roled[at].role == "position" or roled[at].first in placing for at in members):
            continue
        for at in members:
            if roled[at].role != "position":
                because = f"listed with places; {chances[at]:.0%} by the trained reader"
                result[at] = replace(
                    roled[at], role="position", because=because, doubt=None, unit=None
                )
    return tuple(result)


def _may_be(item: RoledNumber, chance: float) -> bool:
    """Whether a number is a place, or a count that the reader may take for one."""
    value = item.number.value
    bare = item.unit is None or item.carried
    plain = bare and item.number.form in PLAIN and value == value.to_integral_value()
    if not plain or not 0 < value <= LARGEST_PLACE:
        return False
    return item.role == "position" or (item.role == "count" and chance >= PERHAPS)
