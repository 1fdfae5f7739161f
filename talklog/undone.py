"""Step 5b: work that was left undone, and work of the past, which is none of this job. No bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from talklog.context import Context
from talklog.mentions import Mention, Span, near
from talklog.notes import NOT_SAID, Action
from talklog.said import said
from talklog.scopes import SHORT_PAUSE, paused
from talklog.verbs import may_be_past, plain_form
from talklog.vocabulary import load
from talklog.word_kinds import Phrase

DO = "do"  # the verb where only a thing was named: "pollen filter not done"
JUST = 2  # words from a thing to the words that say it was left, at most one between
AHEAD = 4  # words from "didn't get to" to the thing
BEHIND = 4  # words from work to the time long ago when it was done
LOOK = 8  # words from a part to that time


def refused(context: Context, first: int) -> bool:
    """Whether the word just before a verb of the past says that it was not done: "filter wasn't
    changed"."""
    if not first:
        return False
    before, verb = (word.text for word in context.transcript.words[first - 1 : first + 1])
    return before in load().small_words["refusals"] and plain_form(verb) != verb


def is_state(context: Context, at: int) -> bool:
    """Whether the trained reader takes a word for that of a state: "door not locked"."""
    return context.seen is not None and at in context.seen.sure_states


def is_rather_state(context: Context, at: int) -> bool:
    """Whether the trained reader takes it for a state rather than for work: "gears stripped"."""
    return context.seen is not None and at in context.seen.no_works


def left_undone(context: Context) -> Iterator[Action]:
    """ "pollen filter not done", "load test not done", "didn't get to the pollen filter"."""
    for first, last in _said(context, load().left_undone):
        close = near(context.components, first, first)
        before = [c for c in close if 0 < first - c.last <= JUST]
        work = _work_before(context, first)
        if (before or work) and not _parted(context, first - JUST, first):
            yield _action(context, work, before[-1] if before else None, first, last)
    for first, last in _said(context, load().not_reached):
        close = near(context.components, last, last)
        thing = next((c for c in close if 0 < c.first - last <= AHEAD), None)
        verbs = near(context.mentions.of("action"), last, last)
        if thing is None or any(last < verb.first < thing.first for verb in verbs):
            continue
        if not _parted(context, last, thing.first):
            yield _action(context, None, thing, first, last)


def says_left(context: Context, span: Span) -> bool:
    """Whether words only say that something was left: the "round" of "didn't get round to"."""
    phrases = (*load().left_undone, *load().not_reached)
    return any(first <= span.first and span.last <= last for first, last in _said(context, phrases))


def _work_before(context: Context, first: int) -> Mention | None:
    """The name of work just before a word: the "service" of "service not done"."""
    close = near(context.mentions.of("action"), first, first)
    return next((a for a in close if a.last == first - 1), None)


def _action(
    context: Context, work: Mention | None, thing: Mention | None, first: int, last: int
) -> Action:
    spans = [span for span in (work, thing) if span is not None]
    first, last = min([first, *(s.first for s in spans)]), max([last, *(s.last for s in spans)])
    name = thing.name if thing else NOT_SAID
    place = context.position_at(thing) if thing else None
    return Action(work.name if work else DO, name, place, False, first, last)


def long_ago(context: Context, span: Span, within: int = BEHIND) -> bool:
    """Whether work, or a part, is of the past: "belt was changed two years ago"."""
    return _behind(context, span, load().past, within)


def _behind(context: Context, span: Span, phrases: Sequence[Phrase], within: int) -> bool:
    """Whether one of some phrases begins within so many words behind, in the same breath."""
    return any(
        0 < first - span.last <= within and not _parted(context, span.last, last)
        for first, last in _said(context, phrases)
    )


def is_over(context: Context, span: Span) -> bool:
    """Whether work was done at a time of the year, and not today: "packed it in march"."""
    return is_past(context, span) and _behind(context, span, load().over, BEHIND)


def is_past(context: Context, span: Span) -> bool:
    """Whether a verb tells what was done: "packed", not "to be packed"."""
    verb = context.transcript.words[span.first].text
    before = [word.text for word in context.transcript.words[max(0, span.first - 1) : span.first]]
    coming = verb.endswith("ing") or load().small_words["coming"] & set(before)
    return may_be_past(verb) and not coming


def past_part(context: Context, part: Span) -> bool:
    """Whether a part was fitted long ago: no other thing stands between it and that time."""
    others = [
        c.first for c in near(context.components, part.last, part.last) if c.first > part.last
    ]
    return long_ago(context, part, min([LOOK, *(at - part.last for at in others)]))


def _parted(context: Context, first: int, last: int) -> bool:
    return paused(context.transcript, first, last, seconds=SHORT_PAUSE)


def _said(context: Context, phrases: Sequence[Phrase]) -> Iterator[tuple[int, int]]:
    """Where some phrases are said, as first and last words; the longest at each place."""
    end = -1
    for first, last in said(context.transcript.words, phrases):
        if first > end:
            yield first, last
        end = first
