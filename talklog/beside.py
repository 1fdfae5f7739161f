"""Step 5b: a verb -> the thing said beside it, and the words of both. Knows no bands."""

from __future__ import annotations

from talklog.context import Context
from talklog.mentions import Mention, Span, near
from talklog.nouns import singular
from talklog.roled import FILLERS, RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.vocabulary import load

COUNTED = 3  # words from a number to the thing that it counts: "two good bolts"
LACKED = 10  # words from "missing its" to the "one" that was put in
OBJECT = 5  # words between a verb and the thing it is done to


def thing_beside(context: Context, span: Mention) -> Mention | None:
    """The component an action is about: just after it, else just before it; before it, if a pause
    follows ("hoses checked, radiator leaking")."""
    close = near(context.components, span.first, span.last)
    after = next(
        (
            c
            for c in close
            if 0 < c.first - span.last <= OBJECT
            and not context.paused(span.last, c.first)
            and not _new_verb(context, span.last, c.first)
        ),
        None,
    )
    before = [
        c
        for c in close
        if 0 < span.first - c.last <= OBJECT and not context.paused(c.last, span.first)
    ]
    if after is None or not before:
        return after or (before[-1] if before else None)
    passive = span.first - before[-1].last <= 1 < after.first - span.last - 1
    ended = _breaks(context, span.last, after.first)
    parted = ended and not _breaks(context, before[-1].last, span.first)
    return before[-1] if passive or parted else after


def lacked(context: Context, at: int) -> Mention | None:
    """What a thing lacks, for the "one" said behind it: "the pin was missing its clip so i put one
    in"."""
    for cue in reversed(near(context.mentions.cues_of("part_missing"), at, at)):
        if cue.last < at and at - cue.last <= LACKED and cue.cue.direction != "backward":
            behind = near(context.components, cue.last, cue.last)
            own = next((c for c in behind if 0 < c.first - cue.last <= 1), None)
            between = (c for c in behind if own and own.last < c.first < at)
            return None if any(between) or context.paused(cue.last, at) else own
    return None


def taken_away(context: Context, span: Span, thing: Mention | None) -> Mention | None:
    """What a verb such as "take off" takes away: where a number stands beside it, what that counts,
    and not the thing talked of: "took off twenty thou" is no thing, "two links taken out" are
    links."""
    item, noun = _amount(context, span)
    if item is None:
        return thing
    words = context.transcript.words
    if item.unit is not None:
        more = words[item.last + 1].text if item.last + 1 < len(words) else ""
        return thing if more == "of" else None
    if thing is not None and 0 < thing.first - item.last <= COUNTED:
        return thing
    if noun is None or not _is_name(context, noun):
        return None
    name = singular(words[noun].text)
    return Mention("component", name, noun, noun, base=name)


def _amount(context: Context, span: Span) -> tuple[RoledNumber | None, int | None]:
    """A number right behind a verb, or right before it, and where the noun is that it counts."""
    for item in near(context.roled, span.first, span.last):
        between = context.between(span.last, item.first)
        if item.first > span.last and all(word in FILLERS for word in between):
            return item, item.last + 1
        noun = item.last + 1
        if item.role != "position" and span.first in (noun, noun + (item.unit is None)):
            return item, noun if noun < span.first else None
    return None, None


def _is_name(context: Context, at: int) -> bool:
    """Whether a word behind a number can be what it counts."""
    words, small = context.transcript.words, load().small_words
    if at >= len(words) or words[at].pause_before >= SHORT_PAUSE:
        return False
    none = small["particles"] | small["never_last"] | small["no_names"]
    return words[at].text not in none


def together(span: Span, thing: Mention) -> tuple[int, int]:
    """The words of both when they stand close, else those of the first."""
    beside = abs(thing.first - span.last) <= OBJECT or abs(span.first - thing.last) <= OBJECT
    if not beside:
        return span.first, span.last
    return min(span.first, thing.first), max(span.last, thing.last)


def _breaks(context: Context, first: int, last: int) -> bool:
    return paused(context.transcript, first, last, seconds=SHORT_PAUSE)


def _new_verb(context: Context, last: int, first: int) -> bool:
    """Whether another verb or a number stands between: its thing is not ours."""
    others = [*near(context.mentions.of("action"), last, first), *near(context.roled, last, first)]
    return any(last < other.first < first for other in others)
