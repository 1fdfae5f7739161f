"""Step 4g: values that the speaker says himself not to trust. Knows no bands.

"twenty psi but i don't trust the gauge", "not sure but about four bar": they are asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from talklog.mentions import Mentions, near
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import paused
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

DOUBT = "the speaker did not trust it"
BEHIND = 8  # words from a value to such a phrase behind it at most
BEFORE = 4  # words from such a phrase to the value that it announces


def with_distrust(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with a doubt on each reading that the speaker himself doubts."""
    spoken = [*_phrases(transcript.words, "distrusted_before", before=True)]
    spoken += _phrases(transcript.words, "distrusted_behind", before=False)
    if not spoken:
        return tuple(roled)
    return tuple(
        replace(item, doubt=item.doubt or DOUBT)
        if item.role in MEASURING and _is_meant(transcript, mentions, spoken, item)
        else item
        for item in roled
    )


def _phrases(words: Sequence[Word], key: str, *, before: bool) -> Iterator[tuple[int, int, bool]]:
    """(first word, last word, whether it stands before its value) of each such phrase."""
    for phrase in load().small_words[key]:
        own = phrase.split()
        for first in range(len(words) - len(own) + 1):
            if [word.text for word in words[first : first + len(own)]] == own:
                yield first, first + len(own) - 1, before


def _is_meant(
    transcript: Transcript,
    mentions: Mentions,
    spoken: Sequence[tuple[int, int, bool]],
    item: RoledNumber,
) -> bool:
    """Whether a phrase speaks of a number: near it, with no pause and no other number between."""
    return any(
        0 < (start - end) <= (BEFORE if before else BEHIND)
        and not paused(transcript, end, start)
        and not _number_between(mentions, end, start)
        for first, last, before in spoken
        for end, start in [(last, item.first) if before else (item.last, first)]
    )


def _number_between(mentions: Mentions, end: int, start: int) -> bool:
    return any(end < run.first and run.last < start for run in near(mentions.numbers, end, start))
