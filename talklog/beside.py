"""Step 5b: a verb -> the thing said beside it, and the words of both. Knows no bands."""

from __future__ import annotations

from talklog.context import Context
from talklog.mentions import Mention, Span, near
from talklog.scopes import SHORT_PAUSE, paused

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
