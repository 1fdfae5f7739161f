"""A part -> what the cues around it say became of it. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from talklog.context import Context
from talklog.denied import not_done
from talklog.mentions import CueMention, Mention, near
from talklog.others import is_alternative
from talklog.part_rules.listed import goes_on, is_newness, joined
from talklog.scopes import SHORT_PAUSE, paused
from talklog.vocabulary import load
from talklog.word_kinds import NO_PART, PART_CUES

PART_REACH = 3  # words between a cue about a part and the part
JUST = 2  # words from what lacks a part to the "missing" behind it
SOON = 22  # words from a part to the "they're" that is said on order
DENIED = 2  # words from "don't" to the cue that it denies
NONE = "not fitted"  # none of the fates of a record: "swapped the pumps left for right"
# Of several cues on a part the first kind of these counts: "order a new belt" is not fitted.
STATUS = {
    "part_on_order": "on_order",
    "part_needed": "needed",
    "part_missing": "missing",
    "part_reused": "reused",
    NO_PART: NONE,
    "part_fitted": "fitted",
}
COMING = ("on_order", "needed")  # fates of a part that is not on the machine yet


@dataclass(frozen=True, slots=True)
class Cued:
    """What a cue says of a part. ``status`` is ``None`` if it is denied: "don't order the
    belt"."""

    status: str | None
    cue: CueMention
    own: bool = False  # beside the part itself, and not only in its list

    @property
    def is_certain(self) -> bool:
        """Whether it says more than that the part is new."""
        return not is_newness(self.cue)


def cued(context: Context, part: Mention) -> Cued | None:
    """What is said of a part by the cue beside it, else by that of the list in which it stands;
    that it is new counts last: "ordered two hoses and a new clip"."""
    found = [one for one in _all_cued(context, part) if one is not None]
    certain = (one for one in found if one.is_certain)
    return next(certain, found[0] if found else None)


def cued_word(context: Context, at: int) -> Cued | None:
    """The same of a word that only means a part: "ordered three"."""
    return _beside(context, Mention("component", "", at, at))


def _all_cued(context: Context, part: Mention) -> Iterator[Cued | None]:
    yield _holder(context, part)
    own = _beside(context, part)
    yield replace(own, own=True) if own else None
    for other in joined(context, part):
        yield _beside(context, other)
    yield _begun(context, part)
    yield _also(context, part)
    yield _afterwards(context, part)


def _beside(context: Context, part: Mention) -> Cued | None:
    """By the weightiest cue on a part: on order and needed outweigh "new"."""
    found = [
        mention
        for mention in near(context.mentions.cues_of(*STATUS), part.first, part.last)
        if _on_part(context, mention, part)
    ]
    order = list(STATUS)
    cue = min(found, key=lambda mention: order.index(mention.cue.category), default=None)
    return _said(context, cue) if cue else None


def _begun(context: Context, part: Mention) -> Cued | None:
    """By a cue that begins the list: "need two pads four bolts"."""
    cues = near(context.mentions.cues_of(*PART_CUES), part.first, part.first)
    begun = [c for c in cues if c.cue.forward and STATUS[c.cue.category] in COMING]
    cue = next((c for c in reversed(begun) if goes_on(context, c, part)), None)
    return _said(context, cue) if cue else None


def _also(context: Context, part: Mention) -> Cued | None:
    """By the cue on the part before: "gasket ordered, thermostat too"."""
    behind = [word.text for word in context.transcript.words[part.last + 1 : part.last + 3]]
    close = near(context.components, part.first, part.first)
    before = [c for c in close if c.last < part.first]
    also = any(behind[: len(said)] == said for said in map(str.split, load().small_words["also"]))
    if not before or not also or context.paused(part.last, part.last + 1):
        return None
    listed = (before[-1], *joined(context, before[-1]))
    found = next((one for one in (_beside(context, other) for other in listed) if one), None)
    return found if found and found.status in COMING else None


def _afterwards(context: Context, part: Mention) -> Cued | None:
    """By a cue on the pronoun that stands for it: "belts need doing but they're on order"."""
    words = context.transcript.words
    close = near(context.components, part.first, part.first)
    for cue in near(context.mentions.cues_of("part_on_order"), part.last, part.last):
        soon = cue.cue.backward and 0 < cue.first - part.last <= SOON
        pronoun = words[cue.first - 1].text in load().small_words["pronouns"] if soon else False
        if not pronoun or context.paused(part.last, cue.first):
            continue
        if not any(part.last < c.first < cue.first for c in close):
            return _said(context, cue)
    return None


def _holder(context: Context, part: Mention) -> Cued | None:
    """Nothing is said of what only holds the part that a cue is about: "impeller missing two
    vanes"."""
    close = near(context.mentions.cues_of(*PART_CUES), part.last, part.last)
    ways = (c for c in close if 0 < c.first - part.last <= JUST and c.cue.direction == "both")
    cue = next((c for c in ways if _is_forward(context, c)), None)
    return Cued(None, cue) if cue and not context.paused(part.last, cue.first) else None


def _said(context: Context, cue: CueMention) -> Cued:
    """With its opposite where it is denied: what was not ordered is needed."""
    status: str | None = STATUS[cue.cue.category]
    if is_alternative(context, cue):
        return Cued(None, cue)
    if status == "fitted" and not_done(context, cue.first):
        status = "needed"
    elif status in COMING and _is_denied(context, cue):
        status = "needed" if status == "on_order" else None
    return Cued(status, cue)


def _is_denied(context: Context, cue: CueMention) -> bool:
    words = context.transcript.words[max(0, cue.first - DENIED) : cue.first]
    denied = any(word.text in load().small_words["denials"] for word in words)
    return denied and not paused(
        context.transcript, max(0, cue.first - DENIED), cue.first, seconds=SHORT_PAUSE
    )


def _on_part(context: Context, mention: CueMention, part: Mention) -> bool:
    forward = _is_forward(context, mention)
    low, high = (mention.last, part.first) if forward else (part.last, mention.first)
    if not 0 < high - low <= min(PART_REACH, mention.cue.scope) or context.paused(low, high):
        return False
    linked = bool(load().small_words["joins"] & set(context.between(low, high)))
    if linked and STATUS[mention.cue.category] in COMING:
        return False  # of the pads in "fitted the pads and ordered more" it says nothing
    parted = paused(context.transcript, low, high, seconds=SHORT_PAUSE)
    if not forward and (linked or parted) and _names_at_once(context, mention):
        return False
    between = near(context.components, low, high)
    return not any(low < c.first < high for c in between)


def _is_forward(context: Context, mention: CueMention) -> bool:
    """Whether a cue is of what follows; one of both directions is so where a thing is named at
    once: "impeller missing two vanes"."""
    both = mention.cue.direction == "both"
    return _names_at_once(context, mention) if both else mention.cue.forward


def _names_at_once(context: Context, mention: CueMention) -> bool:
    """Whether a thing is named just behind a cue."""
    close = near(context.components, mention.last, mention.last)
    thing = next((c for c in close if c.first > mention.last), None)
    if thing is None or thing.first - mention.last > PART_REACH:
        return False
    return not paused(context.transcript, mention.last, thing.first, seconds=SHORT_PAUSE)
