"""The places of a number by rule and by the trained reader -> the place that it has."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.belonging.found_note import FoundNote
from talklog.belonging.leading_places import leading_places
from talklog.belonging.read_places import axes_of, read_places
from talklog.belonging.trailing_places import trailing_places
from talklog.links import SAYING
from talklog.mentions import Mention
from talklog.roled import MEASURING
from talklog.vocabulary import load

BESIDE_VALUE = 4  # words from a place to the number of which it is the place by rule alone
SMALL = ("at", "and", "the", "in", "to", "of")  # words that end no place


def place_of(
    note: FoundNote, ruled: Sequence[Mention], component: Mention | None, first: int
) -> str | None:
    """The place of a number: "2", "front left", "inlet 1". ``ruled`` are its places by rule."""
    owned = _owned_places(note)
    own = owned.get(first, ())
    theirs = {place.first for at, places in owned.items() if at > first for place in places}
    theirs -= {place.first for place in own}
    read = tuple(p for p in read_places(note, first) if not _is_gone(note, p, component, first))
    read = tuple(place for place in read if place.first not in theirs)
    said = (*read, *ruled)
    read = tuple(place for place in read if not _is_of_next(note, place, said, first))
    ruled = tuple(place for place in ruled if place.first not in theirs)
    if own:
        axes = set[int]().union(*(axes_of(note, place) for place in own))
        read = (*(p for p in read if p not in own and not axes_of(note, p) & axes), *own)
    likely = _likely(note, ruled, read, component, first)
    places = _one_of_each_axis(note, read, likely, first)
    named = [_with_noun(note, place) for place in places if not _is_within(place, component)]
    return _joined(named)


def _joined(named: Sequence[str]) -> str | None:
    """The places as one, no word said twice, no small word at the end; what is a place only as a
    whole stays so: "side to side", "cut in"."""
    words: list[str] = []
    for name in named:
        said = () if _is_whole(name) else tuple(words)
        words += [word for word in name.split() if word not in said]
    while words and words[-1] in SMALL and not _is_whole(named[-1]):
        words.pop()
    return " ".join(words) or None


def _is_whole(name: str) -> bool:
    """Whether a place of several words has an axis as a whole."""
    return " " in name and name in load().axes


def _owned_places(note: FoundNote) -> dict[int, tuple[Mention, ...]]:
    """The places that are certainly those of a number, by its first word."""
    leading = {at: (place,) for at, place in leading_places(note).items()}
    return leading | trailing_places(note)


def several_places(
    note: FoundNote, ruled: Sequence[Mention], place: str | None, first: int
) -> tuple[str, ...]:
    """The places of a value that was said for several: "three and four both six thou", "nearside
    one and three". ``place`` is what would be the only one, in which one of them may be named."""
    numbered = [p for p in ruled if p.kind == "place"] or read_places(note, first)
    last = max((p.first for p in numbered if p.kind == "place"), default=-1)
    if last < first and _is_in_turn(note, first):
        return ()
    names = [p.name for p in note.lists_of_places.get(last, ())]
    words = [w for w in (place or "").split() if w not in load().small_words["together"]]
    named = [at for at, word in enumerate(words) if word in names]
    if not named:
        return tuple(names)
    plain = [*words[: named[0]], "{}", *(w for w in words[named[0] :] if w not in (*names, *SMALL))]
    return tuple(" ".join(plain).format(name) for name in names)


def _is_in_turn(note: FoundNote, first: int) -> bool:
    """Whether another value is joined to a value: "one and two point six and point five" are each
    one's own."""
    values = [item for item in note.roled if item.role in MEASURING]
    own = next((item for item in values if item.first == first), None)
    behind = {item.first for item in values}
    if own is None:
        return False
    joined = note.between(own.last, own.last + 2) == ["and"]
    return own.last + 1 in behind or (joined and own.last + 2 in behind)


def _is_gone(note: FoundNote, place: Mention, component: Mention | None, first: int) -> bool:
    """Whether a pause parts a place from the thing, which was named after it: "front right
    fourteen psi | clutch pedal twenty five"; or from the number before it. What the reader all
    but knows stays."""
    read = note.read_of.get(first)
    if read is not None and place.first in read.sure_place:
        return False
    if place.first > first:
        return note.paused(first, place.first)
    if component is None or not place.last < component.first < first:
        return False
    return note.paused(place.last, component.first)


def _is_of_next(note: FoundNote, place: Mention, said: Sequence[Mention], first: int) -> bool:
    """Whether a place behind a number is that of the next one: "drive side sixty non drive side
    at forty". The number has one of its kind before it, and the next follows the place."""
    behind = [item.first for item in note.roled if item.first > place.last]
    if place.first < first or not behind:
        return False
    between = note.between(place.last, behind[0])
    axes = axes_of(note, place)
    before = any(other.first < first and axes & axes_of(note, other) for other in said)
    return before and len(between) <= 1 and set(between) <= set(SAYING)


def _likely(
    note: FoundNote,
    ruled: Sequence[Mention],
    read: Sequence[Mention],
    component: Mention | None,
    first: int,
) -> tuple[Mention, ...]:
    """The places by rule that the reader does not exclude, each with the one said right before
    it; where the reader takes none, those beside the number or its thing."""
    likely = {p.first for p in ruled if p in read or _may_be(note, p, first)}
    likely |= {p.first for p in read}
    kept = (place for place in ruled if {place.first, place.last + 1} & likely)
    return tuple(place for place in kept if read or _is_close(place, component, first))


def _may_be(note: FoundNote, place: Mention, first: int) -> bool:
    """Whether the trained reader does not exclude that a place is that of a number; a word that
    mostly says no place must be one by the reader: "put it back four mil"."""
    read = note.read_of.get(first)
    if read is None:
        return True
    heard = note.transcript.heard(place.first, place.last)
    wanted = read.place if heard in load().doubtful_places else read.maybe_place
    return any(at in wanted for at in range(place.first, place.last + 1))


def _is_close(place: Mention, component: Mention | None, first: int) -> bool:
    """Beside the number, or right before its thing: "front disc runout is three thou"."""
    named = component is not None and place.last + 1 == component.first
    return named or abs(first - place.last) <= BESIDE_VALUE


def _one_of_each_axis(
    note: FoundNote, read: Sequence[Mention], ruled: Sequence[Mention], first: int
) -> list[Mention]:
    """The places that the reader takes, else those by rule. Nothing is both left and right: of
    places on one axis the last said before the number stays, with those by rule among them."""
    kept: list[Mention] = []
    taken: set[int] = set()
    for place in sorted(
        {*read, *ruled}, key=lambda p: (p not in read, p.first > first, abs(first - p.first))
    ):
        axes = axes_of(note, place)
        if place in read or (not axes & taken and (axes or not read)):
            kept.append(place)
            taken |= axes
    return sorted(kept, key=lambda place: place.first)


def _is_within(place: Mention, component: Mention | None) -> bool:
    """Whether the name of the thing says the place already."""
    if component is None:
        return False
    return component.first <= place.first and place.last <= component.last


def _with_noun(note: FoundNote, place: Mention) -> str:
    """ "bank 1", "row 2", but "2" of "cylinder two"."""
    before = note.transcript.words[place.first - 1].text if place.first else ""
    kept = place.kind == "place" and before in load().kept_before_places
    return f"{before} {place.name}" if kept else place.name
