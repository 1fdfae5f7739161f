"""The places that were said -> which of them are those of each number, by rule alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from talklog.belonging.found_note import FoundNote
from talklog.belonging.leading_places import leading_places
from talklog.belonging.things import component_of
from talklog.links import LIGHT, PREPOSITIONS
from talklog.mentions import Mention, near
from talklog.roled import RoledNumber
from talklog.vocabulary import load

BESIDE = 4  # words between a place and its number
ON_THING = 14  # words: the same, where the place stands at the thing that the number has
AFTER = 5  # words: how far behind a number its place may stand
FEWEST = 3  # values with their places behind them that make a list
UNITS = ("mil", "out")  # words between a number and its place: "two mil out on three"


def shared_places(note: FoundNote) -> dict[int, tuple[Mention, ...]]:
    """Which places belong to which number (by its first word), left to right: those said since
    the last number, or, if there are none, those just behind it."""
    found: dict[int, tuple[Mention, ...]] = {}
    used = -1
    values = _values(note)
    for index, item in enumerate(values):
        since = max(used, values[index - 1].last if index else -1)
        places = _before(note, since, item.first)
        places = places or _behind(note, item, values[index + 1 : index + 2])
        if places:
            found[item.first] = places
            used = places[-1].last
    return found


def listed_places(note: FoundNote) -> dict[int, Mention]:
    """Of the values of a list that names each place behind its value ("ten thou top twelve bottom
    nine left") the place, by the first word of the number."""
    values = _values(note)
    leading = leading_places(note).values()
    starts = {place.first: place for place in note.places if place not in leading}
    found: dict[int, Mention] = {}
    line: dict[int, Mention] = {}
    for item, after in zip_longest(values, values[1:]):
        place = starts.get(item.last + 1) or starts.get(item.last + 2)
        if place is not None and not note.apart(item.last, place.first):
            line[item.first] = place
        if place is None or after is None or after.first != place.last + 1:
            found |= line if _is_list(note, line) else {}
            line = {}
    return found


def place_beside(note: FoundNote, component: Mention) -> str | None:
    """The place said right beside a component."""
    for place in near(note.places, component.first, component.last):
        just_before = 0 < component.first - place.last <= 1
        just_after = 0 < place.first - component.last <= 1
        if (just_before or just_after) and not note.paused(place.last, component.first):
            return place.name
    return None


def _values(note: FoundNote) -> list[RoledNumber]:
    return [item for item in note.roled if item.role != "position"]


def _is_list(note: FoundNote, line: dict[int, Mention]) -> bool:
    """Whether values with places behind them make a list; not where one place led the first."""
    if len(line) < FEWEST:
        return False
    start = next(iter(line))
    return not any(place.last == start - 1 for place in note.places)


# ---- before a number -----------------------------------------------------------------------------


def _before(note: FoundNote, since: int, first: int) -> tuple[Mention, ...]:
    close = [
        place
        for place in near(note.places, first, first)
        if since < place.first and place.last < first and not _is_parted(note, place, first)
    ]
    if not close:
        return ()
    reaches = first - close[-1].last <= BESIDE or _is_on_component(note, close[-1], first)
    return _together(note, close) if reaches else ()


def _is_parted(note: FoundNote, place: Mention, first: int) -> bool:
    """Whether a pause parts a place from the number; not where no word is between them."""
    return place.last != first - 1 and note.paused(place.last, first)


def _is_on_component(note: FoundNote, place: Mention, first: int) -> bool:
    """ "the rear tyre was down to": the place stands at the component that the number has."""
    component, _ = component_of(note, first)
    if component is None or first - place.last > ON_THING:
        return False
    return 0 <= component.first - place.last <= 2 or 0 <= place.first - component.last <= 3


def _together(note: FoundNote, close: Sequence[Mention]) -> tuple[Mention, ...]:
    """The last place and those said in one breath with it: "inside pad front nearside"."""
    kept = [close[-1]]
    for place in reversed(close[:-1]):
        between = note.between(place.last, kept[0].first)
        words = [w for w in between if w not in LIGHT and w not in load().numbered]
        if len(words) > 1 or (words and not note.thing_between(place.last, kept[0].first)):
            break
        if place.name not in (k.name for k in kept):
            kept.insert(0, place)
    return tuple(kept)


# ---- behind a number -----------------------------------------------------------------------------


def _behind(
    note: FoundNote, item: RoledNumber, following: Sequence[RoledNumber]
) -> tuple[Mention, ...]:
    """The place just behind a number, with its unit or without, before the ``following`` one."""
    limit = following[0].first if following else item.last + AFTER
    beside = _from(note, item.number.last, limit) or _from(note, item.last, limit)
    return beside or _read_list(note, item, following)


def _read_list(
    note: FoundNote, item: RoledNumber, following: Sequence[RoledNumber]
) -> tuple[Mention, ...]:
    """The list of places behind a number, before the ``following`` one, of which the trained
    reader takes one for its place: "two mil left on one three and five"."""
    read = note.read_of.get(item.first)
    end = following[0].first if following else len(note.transcript.words)
    places = (at for at in read.place if item.last < at < end) if read else ()
    lists = (note.lists_of_places.get(at) for at in places)
    return next((line for line in lists if line), ())


def _from(note: FoundNote, last: int, limit: int) -> tuple[Mention, ...]:
    """ "twenty eight front", "nine at the front", "two on three and four"."""
    passed = {*LIGHT, *PREPOSITIONS, *load().numbered, *UNITS}
    for place in near(note.places, last, last):
        if not last < place.first <= min(last + BESIDE, limit - 1):
            continue
        between = _without_thing(note, last, place.first)
        if place.kind == "place" and between.isdisjoint(PREPOSITIONS):
            return ()  # "cylinder two" begins the next value
        if between <= passed:
            return () if note.paused(last, place.first) else note.listed_with(place)
    return ()


def _without_thing(note: FoundNote, last: int, first: int) -> set[str]:
    """The words between a number and a place, without the thing of which there are several: "two
    thou on grooves three and four"."""
    things = [c for c in near(note.components, first, first) if last < c.first and c.last < first]
    named = {at for c in things if c.last == first - 1 for at in range(c.first, c.last + 1)}
    words = note.transcript.words
    return {words[at].text for at in range(last + 1, first) if at not in named}
