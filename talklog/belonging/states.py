"""The states that were said -> the state in which each number was measured: "hot", "on load"."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.belonging.found_note import FoundNote
from talklog.belonging.read_places import axes_of
from talklog.mentions import Mention, near, overlap
from talklog.roled import MEASURING, RoledNumber
from talklog.said import said
from talklog.scopes import SHORT_PAUSE, paused
from talklog.vocabulary import load

BEFORE, BEHIND = 6, 3  # words around a number in which a state is said
SPEED_UNIT = "rpm"
SURE_SPEED = 0.8  # P(speed) from which a number without a unit is one of revolutions


def states_of_numbers(note: FoundNote) -> dict[int, Mention]:
    """The state of each number that has one, by its first word. A state goes to the number said
    near it: before it, if no value before has taken that ("cold four bar hot three"), else behind
    it ("four bar cold three hot"). A state said before the first of several values of one thing
    goes for all of them."""
    found: dict[int, Mention] = {}
    taken: Mention | None = None
    taker: RoledNumber | None = None
    speeds = _speeds(note)
    states = _joined(note, (*_said_states(note), *speeds.values()))
    for item in note.roled:
        if item.role not in MEASURING or item.first in speeds:
            continue
        around = near(states, item.first, item.last)
        led = taken is not None and taken.first < taker.first
        state = _own_state(note, item, around, taken, led=led)
        if state is not None:
            found[item.first] = state
            taken, taker = state, item
        elif _is_said_before(note, taken, around, item) and _goes_for(note, taken, taker, item):
            found[item.first] = taken
    return found


def _said_states(note: FoundNote) -> list[Mention]:
    """The states said, of those that share words the longest."""
    words = note.transcript.words
    found = [Mention("state", note.transcript.heard(first, last), first, last)
             for first, last in said(words, load().circumstances)]  # fmt: skip
    kept: list[Mention] = []
    for state in sorted((*note.mentions.of("state"), *found), key=lambda s: s.first - s.last):
        if not any(overlap(state, other) for other in kept):
            kept.append(state)
    return kept


def _speeds(note: FoundNote) -> dict[int, Mention]:
    """The speeds at which something else was measured, by the first words of their numbers:
    "thirteen point eight volts at two thousand revs"."""
    found: dict[int, Mention] = {}
    for item in note.roled:
        first = item.first - 1
        led = first >= 0 and note.transcript.words[first].text == "at"
        if led and item.role in (*MEASURING, "unknown") and _is_speed(note, item):
            heard = note.transcript.heard(first, item.last)
            found[item.first] = Mention("state", heard, first, item.last)
    return found


def _joined(note: FoundNote, states: Sequence[Mention]) -> list[Mention]:
    """The states in order; those said in one breath are one: "hot", "at idle"."""
    found: list[Mention] = []
    for state in sorted(states, key=lambda state: state.first):
        last = found[-1] if found else None
        if last is None or state.first != last.last + 1 or _parted(note, last, state):
            found.append(state)
        else:
            found[-1] = Mention("state", f"{last.name} {state.name}", last.first, state.last)
    return found


def _parted(note: FoundNote, one: Mention, other: Mention) -> bool:
    return paused(note.transcript, one.last, other.first, seconds=SHORT_PAUSE)


def _is_speed(note: FoundNote, item: RoledNumber) -> bool:
    """Whether a number is one of revolutions, by its unit or by the trained reader."""
    if item.unit is not None:
        return item.unit.name == SPEED_UNIT
    read = note.read_of.get(item.first)
    return read is not None and read.quantities.get("speed", 0.0) >= SURE_SPEED


def _own_state(
    note: FoundNote,
    item: RoledNumber,
    around: Sequence[Mention],
    taken: Mention | None,
    *,
    led: bool,
) -> Mention | None:
    """The state said near a number, but for those up to the one that a number before has. Where
    that was said before its number (``led``), a state behind is that of the number it leads."""
    behind = (s for s in around if _is_behind(note, item, s) and not (led and _heads(note, s)))
    states = (*reversed(_before(around, item)), *behind)
    return next((s for s in states if taken is None or s.first > taken.first), None)


def _before(around: Sequence[Mention], item: RoledNumber) -> list[Mention]:
    return [state for state in around if item.first - BEFORE <= state.first < item.first]


def _is_said_before(
    note: FoundNote, state: Mention | None, around: Sequence[Mention], item: RoledNumber
) -> bool:
    """Whether a state stands close before a number, or farther off and in one breath with it."""
    if state is None or state.first > item.first:
        return False
    if state in _before(around, item):
        return True
    parted = paused(note.transcript, state.first, item.first, seconds=SHORT_PAUSE)
    return not parted and not _is_of_one_side(note, state, item)


def _is_of_one_side(note: FoundNote, state: Mention, item: RoledNumber) -> bool:
    """Whether a state was said of one place, and another of its kind follows before a number:
    "left bearing hot at seventy, right one forty"; not "no load down fifty up forty"."""
    close = near(note.places, state.first, item.first)
    own = [place for place in close if place.last < state.first]
    own = [p for p in own if not paused(note.transcript, p.last, state.first, seconds=SHORT_PAUSE)]
    later = [place for place in close if state.last < place.first and place.last < item.first]
    axes = {axis for place in own for axis in axes_of(note, place)}
    return any(axes & axes_of(note, place) for place in later)


def _is_behind(note: FoundNote, item: RoledNumber, state: Mention) -> bool:
    """Not "twelve volts, pause, cranking nine volts"."""
    close = state.last <= item.last + BEHIND or state.first == item.last + 1
    parted = note.paused(item.last, state.first) or _leads(note, state)
    return item.last < state.first and close and not parted


def _leads(note: FoundNote, state: Mention) -> bool:
    """Whether something new begins with a state: "four percent, no load fifty two hertz"."""
    words = note.transcript.words
    begins = words[state.first].pause_before >= SHORT_PAUSE
    return begins and any(item.first == state.last + 1 for item in note.roled)


def _heads(note: FoundNote, state: Mention) -> bool:
    """Whether a value follows a state in one breath: "no load up fifty down forty hot thirty"."""
    close = near(note.roled, state.last, state.last)
    values = (item for item in close if item.role in (*MEASURING, "unknown"))
    return any(
        0 < item.first - state.last <= BEFORE
        and not paused(note.transcript, state.last, item.first, seconds=SHORT_PAUSE)
        for item in values
    )


def _goes_for(note: FoundNote, state: Mention, taker: RoledNumber, item: RoledNumber) -> bool:
    """Whether the state of a number is that of a later one too: of the same thing, and said
    before both or in one breath with them."""
    led = state.first < taker.first
    breath = not paused(note.transcript, taker.last, item.first, seconds=SHORT_PAUSE)
    return _are_of_one_thing(note, taker, item) and (led or breath)


def _are_of_one_thing(note: FoundNote, one: RoledNumber, other: RoledNumber) -> bool:
    """Whether no other thing was named between two numbers."""
    before = {c.name for c in near(note.components, one.first, one.first) if c.last < one.first}
    between = near(note.components, one.last, other.first)
    return all(c.name in before for c in between if one.last < c.first and c.last < other.first)
