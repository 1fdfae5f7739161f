"""Step 5b: whether work is denied, or still to do, by the words before it. Knows no bands."""

from __future__ import annotations

from talklog.context import Context
from talklog.mentions import CueMention, near
from talklog.scopes import SHORT_PAUSE
from talklog.verbs import may_be_past


def not_done(context: Context, first: int, within: int | None = None) -> bool:
    """Whether words before ``first`` say that it is still to do, or was not done; ``within`` so
    many words, or those that each cue reaches."""
    return any(
        cue.last < first <= cue.last + min(cue.cue.scope, within or cue.cue.scope)
        and not _is_over(context, cue.last, first)
        for cue in near(context.mentions.cues_of("not_done"), first, first)
        if _fits(context, cue, first) and not _stopped(context, cue.last, first)
    )


def _fits(context: Context, cue: CueMention, first: int) -> bool:
    """Not "before i changed the filter", which is done."""
    past = may_be_past(context.transcript.words[first].text)
    return cue.cue.targets != "base" or not past


def _is_over(context: Context, last: int, first: int) -> bool:
    """Whether what was denied has ended: by a long pause, or by a short one behind its own words
    ("i didn't touch it, replaced the seal")."""
    words = context.transcript.words[last + 2 : first + 1]
    return context.paused(last, first) or any(w.pause_before >= SHORT_PAUSE for w in words)


def _stopped(context: Context, last: int, first: int) -> bool:
    stops = near(context.mentions.cues_of("terminator"), last, first)
    return any(last < stop.first and stop.last < first for stop in stops)
