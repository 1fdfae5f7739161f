"""Probabilities of words -> the words and spans of words that are probable enough."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from talklog.scopes import SHORT_PAUSE
from talklog.seeing.kinds import Span
from talklog.transcript import Transcript

if TYPE_CHECKING:
    import numpy as np

BEGINS = 0.6  # probability of a word to begin another span


def decode(rows: np.ndarray, least: float) -> list[Span]:
    """Probabilities (outside, begins, inside) of each word -> inclusive spans of the words that
    are in one with more than ``least``; one weak word does not break a span."""
    spans: list[list[int]] = []
    inside = 1 - rows[:, 0]
    for at in (inside > least).nonzero()[0].tolist():
        weak = inside[at - 1] > least / 3
        goes_on = spans and at - spans[-1][1] <= 1 + bool(weak)
        if goes_on and not (rows[at, 1] > BEGINS and rows[at, 1] > rows[at, 2]):
            spans[-1][1] = at
        else:
            spans.append([at, at])
    return [(first, last) for first, last in spans]


def over(chances: np.ndarray, least: float) -> frozenset[int]:
    """The places of all that is more probable."""
    return frozenset(int(at) for at in (chances > least).nonzero()[0])


def united(spans: Iterable[Span]) -> Iterator[Span]:
    """Spans that share a word as one, in order."""
    held: Span | None = None
    for first, last in sorted(spans):
        if held is not None and first <= held[1]:
            held = (held[0], max(held[1], last))
            continue
        if held is not None:
            yield held
        held = (first, last)
    if held is not None:
        yield held


def words_of(spans: Iterable[Any]) -> set[int]:
    """All words that lie in a span."""
    return {at for span in spans for at in range(span.first, span.last + 1)}


def unpaused(transcript: Transcript, span: Span) -> Iterator[Span]:
    """A span, parted where the speaker paused."""
    first, last = span
    for at in range(first + 1, last + 1):
        if transcript.words[at].pause_before >= SHORT_PAUSE:
            yield first, at - 1
            first = at
    yield first, last
