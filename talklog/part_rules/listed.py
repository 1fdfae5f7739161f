"""A part -> the parts that were said in one list with it. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.context import Context
from talklog.mentions import CueMention, Mention, near
from talklog.scopes import SHORT_PAUSE, paused
from talklog.vocabulary import load
from talklog.word_kinds import PART_CUES

GAP = 6  # words between two things of a list at most: "a seal for the left hub and a gasket"


def joined(context: Context, part: Mention) -> Iterator[Mention]:
    """The things said together with a part, before it and then behind it: "a bearing and a
    nut"."""
    close = near(context.components, part.first, part.last)
    at = close.index(part)
    own = part
    for other in reversed(close[:at]):
        if not _is_pair(context, other, own):
            break
        yield other
        own = other
    own = part
    for other in close[at + 1 :]:
        if not _is_pair(context, own, other):
            break
        yield other
        own = other


def goes_on(context: Context, cue: CueMention, part: Mention) -> bool:
    """Whether the list that a cue begins goes on to a part: "ordered a shaft two bearings a seal
    and a ring". A long pause ends it, work, another cue of a part, and words that begin anew."""
    if part.first <= cue.last or context.paused(cue.last, part.first):
        return False
    close = near(context.components, cue.last, part.first)
    things = [thing for thing in close if cue.last < thing.first <= part.first]
    starts = [thing.first for thing in things]
    ends = [cue.last, *(thing.last for thing in things[:-1])]
    dense = all(_is_close(context, *gap) for gap in zip(ends, starts, strict=True))
    return bool(things) and dense and not _is_ended(context, cue.last, part.first)


def is_newness(cue: CueMention) -> bool:
    """Whether a cue but says that a part is new, not that it was fitted: "ordered a new one"."""
    return set(cue.cue.phrase) <= load().small_words["newness"]


def _is_close(context: Context, last: int, first: int) -> bool:
    """Whether a list may go on from one word to the next thing: over a few words, and over a short
    pause only to what begins a name. Words of numbers do not count: "one fifty mil clamp"."""
    runs = near(context.mentions.numbers, last, first)
    numbers = {at for run in runs for at in range(run.first, run.last + 1)}
    said = context.transcript.words
    words = [said[at].text for at in range(last + 1, first) if at not in numbers]
    if not paused(context.transcript, last, first, seconds=SHORT_PAUSE):
        return len(words) < GAP
    small = load().small_words
    return set(words) <= small["before_names"] | small["joins"]


def _is_ended(context: Context, last: int, first: int) -> bool:
    works = near(context.seen.works, last, first) if context.seen else ()
    stops = near(context.mentions.cues_of("terminator"), last, first)
    cues = near(context.mentions.cues_of(*PART_CUES), last, first)
    others = [cue for cue in cues if not is_newness(cue)]
    return any(last < one.first and one.last < first for one in (*works, *stops, *others))


def _is_pair(context: Context, one: Mention, other: Mention) -> bool:
    """Whether only "and", small words, how many, and what became of the first, stand between two
    things: "a shaft ordered plus the seal"."""
    last, joins = _behind_cue(context, one.last)
    between = context.between(last, other.first)
    counts = near(context.mentions.numbers, last, other.first)
    numbers = {at - last - 1 for run in counts for at in range(run.first, run.last + 1)}
    words = {word for at, word in enumerate(between) if at not in numbers}
    joins = joins & set(between[:1])
    plain = words <= load().small_words["before_names"] | joins
    return bool(joins) and plain and not context.paused(one.last, other.first)


def _behind_cue(context: Context, last: int) -> tuple[int, frozenset[str]]:
    """Where a list goes on behind a thing, and the words that may join the next: behind "on order"
    it may be "with"."""
    small = load().small_words
    cues = near(context.mentions.cues_of("part_on_order", "part_needed"), last, last)
    own = next((cue for cue in cues if cue.first == last + 1 and cue.cue.backward), None)
    return (own.last, small["joins"] | small["along"]) if own else (last, small["joins"])
