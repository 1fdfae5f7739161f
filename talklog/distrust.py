"""Step 4g: values that the speaker says himself not to trust, or to be of long ago. Knows no bands.

"twenty psi but i don't trust the gauge", "not sure but about four bar", "last month it was sixty":
they are asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from talklog.mentions import Mentions, near
from talklog.numbers import NumberRun
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE, paused
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

DOUBT = "the speaker did not trust it"
PAST = "it may be a value of an earlier time"
KEYS = (  # list of phrases, whether they stand before the value, what is doubtful
    ("distrusted_before", True, DOUBT),
    ("distrusted_behind", False, DOUBT),
    ("past_before", True, PAST),
    ("past_behind", False, PAST),
)
BEHIND = 8  # words from a value to such a phrase behind it at most
BEFORE = 4  # words from such a phrase to the value that it announces

Spoken = tuple[int, int, bool, str]  # first and last word, whether before its value, the doubt


def with_distrust(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with a doubt on each reading that the speaker himself doubts."""
    spoken = [found for key in KEYS for found in _phrases(transcript.words, *key)]
    if not spoken:
        return tuple(roled)
    places = {item.first for item in roled if item.role == "position"}
    values = [run for run in mentions.numbers if run.first not in places]
    return tuple(_doubted(transcript, values, spoken, item) for item in roled)


def _doubted(
    transcript: Transcript, values: Sequence[NumberRun], spoken: Sequence[Spoken], item: RoledNumber
) -> RoledNumber:
    """A reading with the doubt of the first phrase that speaks of it."""
    if item.role not in MEASURING or item.doubt:
        return item
    doubts = (found[3] for found in spoken if _is_meant(transcript, values, found, item))
    return replace(item, doubt=next(doubts, None))


def _phrases(words: Sequence[Word], key: str, before: bool, doubt: str) -> Iterator[Spoken]:
    """Each such phrase of one list."""
    for phrase in load().small_words[key]:
        own = phrase.split()
        for first in range(len(words) - len(own) + 1):
            if [word.text for word in words[first : first + len(own)]] == own:
                yield first, first + len(own) - 1, before, doubt


def _is_meant(
    transcript: Transcript, values: Sequence[NumberRun], spoken: Spoken, item: RoledNumber
) -> bool:
    """Whether a phrase speaks of a number: near it, with no pause and no other value between."""
    first, last, before, doubt = spoken
    end, start = (last, item.first) if before else (item.last, first)
    seconds = SHORT_PAUSE if doubt == PAST else LONG_PAUSE  # "not run since last year, drained ..."
    parted = paused(transcript, end, start, seconds=seconds)
    if parted or not 0 < start - end <= (BEFORE if before else BEHIND):
        return False
    between = near(values, end, start)
    return not any(end < run.first and run.last < start for run in between)
