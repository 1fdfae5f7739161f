"""Step 4g: values between which the speaker himself could not choose. Knows no bands.

"eighty newton metres or ninety, i never wrote it down": whichever becomes a reading is asked about,
and so is a limit that was quoted so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from talklog.mentions import Mentions, near
from talklog.roled import MEASURING, RoledNumber
from talklog.transcript import Transcript
from talklog.vocabulary import load

REACH = 7  # words between two such values at most
DOUBT = "one value or another was said"
LIMIT = "quoted_spec"  # "the limit is six, or is it seven"
KEPT = ("position", "inside")  # roles of numbers that are no values


def with_rivals(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with a doubt on each reading, and each quoted limit, that has a rival."""
    values = [item for item in roled if item.role not in KEPT]
    torn = {item.first for pair in pairwise(values) if _are_rivals(transcript, mentions, *pair)
            for item in pair}  # fmt: skip
    return tuple(
        replace(item, doubt=item.doubt or DOUBT)
        if item.first in torn and item.role in (*MEASURING, LIMIT)
        else item
        for item in roled
    )


def _are_rivals(
    transcript: Transcript, mentions: Mentions, one: RoledNumber, other: RoledNumber
) -> bool:
    """Whether "or", "may have been" parts two values of one thing in one unit."""
    first, last = one.number.last, other.first
    if last - first - 1 > REACH or one.number.value == other.number.value:
        return False
    between = [word.text for word in transcript.words[first + 1 : last]]
    units = {item.unit.name for item in (one, other) if item.unit is not None}
    return len(units) < 2 and _is_said(between) and not any(_named(mentions, first, last))


def _is_said(between: Sequence[str]) -> bool:
    said = f" {' '.join(between)} "
    return any(f" {phrase} " in said for phrase in load().small_words["rivals"])


def _named(mentions: Mentions, first: int, last: int) -> Iterator[bool]:
    """Whether something is named between two words: then each has its own value."""
    for span in near(mentions.spans, first, last):
        if span.kind in ("component", "position"):
            yield first < span.first and span.last < last
