"""The states that were said -> the state in which each number was measured: "hot", "on load"."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.belonging.found_note import FoundNote
from talklog.mentions import Mention, near
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import SHORT_PAUSE, paused

BEFORE, BEHIND = 6, 3  # words around a number in which a state is said


def states_of_numbers(note: FoundNote) -> dict[int, Mention]:
    """The state of each number that has one, by its first word. A state goes to the number said
    near it: before it, if no value before has taken that ("cold four bar hot three"), else behind
    it ("four bar cold three hot"). A state said before the first of several values of one thing
    goes for all of them."""
    found: dict[int, Mention] = {}
    taken: Mention | None = None
    taker: RoledNumber | None = None
    for item in note.roled:
        if item.role not in MEASURING:
            continue
        state = _own_state(note, item, taken)
        if state is not None:
            found[item.first] = state
            taken, taker = state, item
        elif taken in _states_before(note, item) and _goes_for(note, taken, taker, item):
            found[item.first] = taken
    return found


def _own_state(note: FoundNote, item: RoledNumber, taken: Mention | None) -> Mention | None:
    """The state said near a number, but for those up to the one that a number before has."""
    behind = (s for s in _states_near(note, item) if _is_behind(note, item, s))
    states = (*reversed(_states_before(note, item)), *behind)
    return next((s for s in states if taken is None or s.first > taken.first), None)


def _states_near(note: FoundNote, item: RoledNumber) -> Sequence[Mention]:
    return near(note.mentions.of("state"), item.first, item.last)


def _states_before(note: FoundNote, item: RoledNumber) -> list[Mention]:
    close = _states_near(note, item)
    return [state for state in close if item.first - BEFORE <= state.first < item.first]


def _is_behind(note: FoundNote, item: RoledNumber, state: Mention) -> bool:
    """Not "twelve volts, pause, cranking nine volts"."""
    close = item.last < state.first and state.last <= item.last + BEHIND
    return close and not note.paused(item.last, state.first)


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
