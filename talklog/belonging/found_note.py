"""A note and what was found in it: its things, its places, and to what its numbers are linked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from talklog.links import Link, find_links
from talklog.mentions import Mention, Mentions, near
from talklog.place_lists import Said, lists_of
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.seeing.kinds import NumberSeen, Seen
from talklog.transcript import Transcript

REMAINS, OTHER_SIDE = "left", "right"
WORN = ("thickness", "depth")  # quantities of what wears away
SIDE_NEAR = 16  # words within which the other side is named: "left at ten ... right at twelve"


@dataclass(frozen=True, slots=True)
class FoundNote:
    """``links`` and ``read_of`` (what the trained reader makes of a number) go by the first word of
    each number, ``lists_of_places`` by that of each place that is said in a list. ``remaining``
    are words that say no place, but that so much there still is: "three millimetres left"."""

    transcript: Transcript
    mentions: Mentions
    roled: tuple[RoledNumber, ...]
    components: tuple[Mention, ...]
    places: tuple[Mention, ...]
    links: dict[int, Link]
    read_of: dict[int, NumberSeen]
    lists_of_places: dict[int, tuple[Mention, ...]]
    remaining: frozenset[int]

    def paused(self, first: int, last: int) -> bool:
        """Whether a long pause lies between two words."""
        return paused(self.transcript, first, last)

    def between(self, first: int, last: int) -> list[str]:
        """The words strictly between two words."""
        return [word.text for word in self.transcript.words[first + 1 : last]]

    def thing_between(self, last: int, first: int) -> bool:
        """Whether a thing was named strictly between two words."""
        return any(last < c.first and c.last < first for c in near(self.components, last, first))

    def apart(self, last: int, first: int) -> bool:
        """Whether a pause or a thing stands between a number and a word behind it: "pads three
        millimetres disc runout two thou"."""
        return self.paused(last, first) or self.thing_between(last, first)

    def listed_with(self, place: Mention) -> tuple[Mention, ...]:
        """The places that are said in one list with a place, itself among them: "one, three and
        five"."""
        return self.lists_of_places.get(place.first, (place,))


def found_note(
    transcript: Transcript,
    mentions: Mentions,
    roled: tuple[RoledNumber, ...],
    seen: Seen | None,
) -> FoundNote:
    """The note with all that is found without looking at one number alone."""
    states = mentions.of("state")
    things = seen.things if seen is not None else mentions.of("component")
    components = tuple(thing for thing in things if not _inside(thing, states))
    numbers = tuple(zip(roled, seen.numbers, strict=True)) if seen is not None else ()
    remaining = frozenset(_remaining(transcript, numbers))
    places = tuple(p for p in _places(mentions, roled) if p.first not in remaining)
    return FoundNote(
        transcript,
        mentions,
        roled,
        components,
        places=places,
        links=find_links(transcript, mentions, components, roled, seen),
        read_of={item.first: number for item, number in numbers},
        lists_of_places=_lists_of(transcript, places),
        remaining=remaining,
    )


def place_by_number(item: RoledNumber, first: int, last: int) -> Mention:
    """The place that a number is, said by the words ``first..last``."""
    return Mention("place", f"{int(item.number.value)}", first, last)


def _inside(component: Mention, states: Sequence[Mention]) -> bool:
    """ "at idle", "engine running": a state, not the thing that was measured."""
    close = near(states, component.first, component.last)
    return any(
        s.first < component.first or s.last > component.last
        for s in close
        if s.first <= component.first and component.last <= s.last
    )


def _places(mentions: Mentions, roled: tuple[RoledNumber, ...]) -> tuple[Mention, ...]:
    """All places that were said, by name or by number, in order."""
    numbered = [
        place_by_number(item, item.number.first, item.number.last)
        for item in roled
        if item.role == "position"
    ]
    named = [_numbered(place) for place in mentions.of("position")]
    return tuple(sorted([*named, *numbered], key=lambda place: place.first))


def _remaining(
    transcript: Transcript, numbers: Sequence[tuple[RoledNumber, NumberSeen]]
) -> Iterator[int]:
    """The "left" of "pads three millimetres left", where the right is not named near it: in notes
    of train, dev and check 56 of 62 such words say no place."""
    words = [word.text for word in transcript.words]
    for item, seen in numbers:
        at = item.last + 1
        if words[at : at + 1] != [REMAINS] or transcript.words[at].pause_before >= SHORT_PAUSE:
            continue
        worn = max(seen.quantities, key=seen.quantities.__getitem__) in WORN
        around = words[max(0, item.first - SIDE_NEAR) : at + SIDE_NEAR]
        if worn and OTHER_SIDE not in around:
            yield at


def _lists_of(transcript: Transcript, places: Sequence[Mention]) -> dict[int, tuple[Mention, ...]]:
    """Each place by number that is said in a list, with all of them."""
    numbered = [place for place in places if place.kind == "place"]
    said = [Said(int(place.name), place.first, place.last) for place in numbered]
    lists = (tuple(numbered[at] for at in line) for line in lists_of(transcript, said))
    return {place.first: line for line in lists for place in line}


def _numbered(place: Mention) -> Mention:
    """ "two's" is a place by number, as "cylinder two" is."""
    return replace(place, kind="place") if place.name.isdigit() else place
