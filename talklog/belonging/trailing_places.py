"""A place said once behind two values that have their own places -> both values, with both places:
"five outer and four inner on the offside", "front nine back seven on the left"."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from talklog.belonging.found_note import FoundNote
from talklog.belonging.read_places import axes_of
from talklog.links import LIGHT, PREPOSITIONS, SAYING
from talklog.mentions import Mention, near
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import SHORT_PAUSE
from talklog.vocabulary import load

BEHIND = 4  # words from the last of the two to the place of both: "that's on the left"
JOINING = ("and", "then")


def trailing_places(note: FoundNote) -> dict[int, tuple[Mention, ...]]:
    """The places of such values, by the first word of each: its own, and the one of both. Rare: in
    notes of train, dev and check it was so of all five such values that were looked at."""
    values = [item for item in note.roled if item.role in MEASURING]
    found: dict[int, tuple[Mention, ...]] = {}
    for one, other in pairwise(values):
        for own, its in _pairs(note, one, other):
            place = _place_of_both(note, max(other.last, its.last), own)
            if place is not None:
                found |= {one.first: (own, place), other.first: (its, place)}
    return found


def _pairs(
    note: FoundNote, one: RoledNumber, other: RoledNumber
) -> Iterator[tuple[Mention, Mention]]:
    """The places of two values of one breath: two on one axis, each right before or right behind
    its value."""
    words = note.transcript.words
    breath = range(one.last + 1, other.first + 1)
    if any(words[at].pause_before >= SHORT_PAUSE for at in breath):
        return
    for beside in (_right_behind, _right_before):
        own, its = beside(note, one), beside(note, other)
        if own is None or its is None or own.name == its.name:
            continue
        inside = one.last < own.first < other.first or one.last < its.first < other.first
        if inside and axes_of(note, own) & axes_of(note, its) and _are_joined(note, one, other):
            yield own, its


def _are_joined(note: FoundNote, one: RoledNumber, other: RoledNumber) -> bool:
    """Whether nothing but places and joining words stands between two values."""
    close = near(note.places, one.last, other.first)
    placed = {at for place in close for at in range(place.first, place.last + 1)}
    light = {*JOINING, *LIGHT, *PREPOSITIONS, *SAYING}
    words = note.transcript.words
    return all(at in placed or words[at].text in light for at in range(one.last + 1, other.first))


def _right_behind(note: FoundNote, item: RoledNumber) -> Mention | None:
    close = near(note.places, item.last, item.last)
    return next((place for place in close if _follows(note, item.last, place)), None)


def _right_before(note: FoundNote, item: RoledNumber) -> Mention | None:
    close = near(note.places, item.first, item.first)
    before = (place for place in close if place.last == item.first - 1)
    return next((place for place in before if not _is_of_value_before(note, place)), None)


def _is_of_value_before(note: FoundNote, place: Mention) -> bool:
    """Whether a place ends the item of a list, whose value has no place before it: the first one
    of "nine top eight bottom seven on the left"."""
    if note.transcript.words[place.first].pause_before >= SHORT_PAUSE:
        return False
    values = (item for item in note.roled if item.role in MEASURING)
    value = next((item for item in values if item.last == place.first - 1), None)
    led = value is not None and any(
        other.last == value.first - 1 for other in near(note.places, value.first, value.first)
    )
    return value is not None and not led


def _follows(note: FoundNote, last: int, place: Mention) -> bool:
    """ "nine at the front", "nine front"."""
    between = note.between(last, place.first)
    return last < place.first and set(between) <= {*LIGHT, *PREPOSITIONS}


def _place_of_both(note: FoundNote, last: int, own: Mention) -> Mention | None:
    """The place behind two values, led to by such a word as "on", on another axis than their own
    places; not where a value of its own follows it: "on the right six"."""
    starts = {item.first for item in note.roled}
    for place in near(note.places, last, last):
        if not last < place.first <= last + BEHIND or note.paused(last, place.first):
            continue
        between = set(note.between(last, place.first))
        led = not between.isdisjoint(PREPOSITIONS) and between <= {*LIGHT, *PREPOSITIONS, "that's"}
        apart = axes_of(note, place) and axes_of(note, place).isdisjoint(axes_of(note, own))
        words = note.transcript.words
        behind = place.last + 1
        while behind < len(words) and words[behind].text in SAYING:
            behind += 1
        begins = behind in starts and words[place.last + 1].pause_before < SHORT_PAUSE
        together = place.name in load().small_words["together"]
        return place if led and apart and not begins and not together else None
    return None
