"""A part -> how many of it. Knows no bands."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.context import Context
from talklog.mentions import Mention, near, overlap
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.verbs import may_be_past
from talklog.vocabulary import load
from talklog.word_kinds import PART_CUES

BEFORE = 3  # words from how many to the name: "two new rear hoses"
BEHIND = 5  # words from the name to how many: "belts replaced, all four"
PAIR = 2  # parts
MOST = 500  # parts of one kind in a note; a larger number is of hours, of money ...


def how_many(
    context: Context, part: Mention, words: range, counted: Sequence[RoledNumber]
) -> tuple[int, int, int] | None:
    """How many of a part there are, with the first and last word that say so. ``words`` tell what
    became of it: those of the number itself in "ordered two"."""
    close = [n for n in near(counted, part.first, words.stop) if _may_count(n)]
    close += [n for n in near(counted, words.start, words.stop) if n not in close and _may_count(n)]
    at = next((n for n in close if n.first in words), None)
    span = Mention("component", part.name, words.start, words.stop - 1)
    found = at or _before(context, span, close) or _behind(context, span, close)
    if found:
        return int(found.number.value), found.first, found.last
    return _pair(context, span)


def _may_count(item: RoledNumber) -> bool:
    value = item.number.value
    return value == int(value) and 0 < value <= MOST


def _before(context: Context, part: Mention, close: list[RoledNumber]) -> RoledNumber | None:
    """ "two new hoses", and not the thermostat behind them."""
    fit = (
        item
        for item in close
        if 0 < part.first - item.number.last <= BEFORE
        and not _is_place(context, item)
        and not _has(context, item.number.last, part.first)
        and not _parted(context, item.number.last, part.first)
        and not _thing_between(context, item.number.last, part.first)
    )
    return next(fit, None)


def _behind(context: Context, part: Mention, close: list[RoledNumber]) -> RoledNumber | None:
    """ "hoses replaced, all four", but not "hose replaced, four bolts": those it counts itself."""
    fit = (
        item
        for item in close
        if 0 < item.first - part.last <= BEHIND
        and not _is_place(context, item)
        and not context.paused(part.last, item.first)
        and not _thing_between(context, part.last, item.first)
        and not _goes_on(context, item.last)
    )
    return next(fit, None)


def _is_place(context: Context, item: RoledNumber) -> bool:
    """Whether a number may be a place and no count: "seals on four", "three and four i left"."""
    words = context.transcript.words
    before = words[item.first - 1].text if item.first else ""
    if before in load().small_words["before_places"]:
        return True
    return any(
        other.role in ("count", "position") and _is_listed(context, item, other)
        for other in near(context.roled, item.first, item.last)
    )


def _is_listed(context: Context, item: RoledNumber, other: RoledNumber) -> bool:
    """Whether two bare numbers stand side by side, with nothing or "and" between: they name the
    several that are meant."""
    one, two = sorted((item, other), key=lambda number: number.first)
    between = context.between(one.last, two.first)
    bare = item.unit is None and other.unit is None
    return one is not two and bare and (not between or list(between) in (["and"], ["or"]))


def _has(context: Context, last: int, first: int) -> bool:
    """Whether a number is what has the part: "five has new strips"."""
    return bool(load().small_words["owning"] & set(context.between(last, first)))


def _goes_on(context: Context, last: int) -> bool:
    """Whether what counts is of something named behind it: behind "all four" nothing follows, or
    "of them", or what became of them."""
    next_ = last + 1
    words = context.transcript.words
    if next_ == len(words) or words[next_].pause_before >= SHORT_PAUSE:
        return False
    if context.seen and any(work.first == next_ for work in context.seen.works):
        return not may_be_past(words[next_].text)
    cues = near(context.mentions.cues_of(*PART_CUES), next_, next_)
    if any(cue.first == next_ and cue.cue.backward for cue in cues):
        return False
    return words[next_].text not in load().small_words["behind_counts"]


def _pair(context: Context, part: Mention) -> tuple[int, int, int] | None:
    """ "a pair of springs", "both rear springs", "springs changed both"."""
    words, pairs = context.transcript.words, load().small_words["pairs"]
    low, high = max(0, part.first - BEFORE), min(len(words), part.last + 1 + BEFORE)
    said = [at for at in range(low, high) if words[at].text in pairs]
    own = (at for at in said if _is_of(context, part, at))
    return next(((PAIR, at, at) for at in own), None)


def _is_of(context: Context, part: Mention, at: int) -> bool:
    """Whether "both" belongs to a part: it stands before it, in it, or at the end behind it."""
    if part.first <= at <= part.last:
        return True
    low, high = min(at, part.last), max(at, part.first)
    if _thing_between(context, low, high) or _parted(context, low, high):
        return False
    return at < part.first or not _goes_on(context, at)


def _thing_between(context: Context, last: int, first: int) -> bool:
    gap = Mention("", "", last + 1, first - 1)
    return any(overlap(gap, thing) for thing in near(context.components, last, first))


def _parted(context: Context, first: int, last: int) -> bool:
    return paused(context.transcript, first, last, seconds=SHORT_PAUSE)
