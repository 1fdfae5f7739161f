"""A number, or an action -> the thing that it is of, and how that is known."""

from __future__ import annotations

from bisect import bisect_left

from talklog.belonging.found_note import FoundNote
from talklog.links import PASSAGE, Link
from talklog.mentions import Mention, near
from talklog.notes import NOT_SAID
from talklog.vocabulary import load

NEAR = 14  # words: farther back, a side no longer stands for the thing
SIDES = ("inlet", "exhaust")  # places that stand for a component when none was named


def component_of(note: FoundNote, first: int) -> tuple[Mention | None, str]:
    """The component of the number or action that begins at ``first``, and why."""
    if first in note.links:
        return _linked(note.links[first], first)
    end = bisect_left(note.components, first, key=lambda c: c.first)
    before = [c for c in note.components[max(0, end - 1) : end] if c.last < first]
    if not before or first - before[-1].last > PASSAGE:
        return None, "no component was named"
    return before[-1], "named before"


def _linked(link: Link, first: int) -> tuple[Mention | None, str]:
    if link.component is None:
        return None, "no component was named for it"
    where = "after" if link.component.first > first else "before"
    return link.component, f"named {where}, chosen with {link.chance:.0%}"


def chance_of_component(note: FoundNote, first: int) -> float:
    """How probable it is that a number belongs to the component that ``component_of`` says; of
    one that was only named before, nothing is known."""
    link = note.links.get(first)
    return link.chance if link is not None and link.component is not None else 0.0


def maybe_components(note: FoundNote, first: int) -> tuple[tuple[Mention | None, float], ...]:
    """What else a number may belong to, and how probable that is."""
    link = note.links.get(first)
    return link.others if link is not None else ()


def component_name(note: FoundNote, component: Mention | None, quantity: str, first: int) -> str:
    """The component; what the quantity means, or a side such as inlet, when none was named."""
    if component is not None:
        return component.name
    close = [p for p in near(note.places, first, first) if 0 < first - p.last <= NEAR]
    if close and close[-1].name in SIDES:
        return close[-1].name
    return load().implied.get(quantity, NOT_SAID)
