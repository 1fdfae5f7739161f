"""Step 4g: values that the speaker says himself not to trust, or to be of long ago. Knows no bands.

"twenty psi but i don't trust the gauge", "not sure but about four bar", "last month it was sixty":
they are asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from talklog.mentions import Mentions, near
from talklog.numbers import NumberRun
from talklog.roled import MEASURING, RoledNumber
from talklog.said import said
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE, paused
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

DOUBT = "the speaker did not trust it"
SWAPPED = "the speaker may have swapped it with the value beside it"
PAUSES = {DOUBT: LONG_PAUSE, SWAPPED: float("inf")}  # seconds that end the reach of a phrase
BETWEEN = {SWAPPED: 1}  # values that may stand between a phrase and the value that it speaks of
PAST = "it may be a value of an earlier time"
BEHIND = 8  # words from a value to such a phrase behind it at most
SWAP = 14  # the same, where it stands behind two values: "left nine mil right four, flip that"
BEFORE = 4  # words from such a phrase to the value that it announces
KEYS = (  # list of phrases, whether they stand before the value, within how many words, the doubt
    ("distrusted_before", True, BEFORE, DOUBT),
    ("distrusted_behind", False, BEHIND, DOUBT),
    ("past_before", True, BEFORE, PAST),
    ("past_behind", False, BEHIND, PAST),
    ("swapped_behind", False, SWAP, SWAPPED),
)


@dataclass(frozen=True, slots=True)
class Spoken:
    """Such a phrase at the words ``first..last``."""

    first: int
    last: int
    before: bool
    reach: int
    doubt: str


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
    doubts = (one.doubt for one in spoken if _is_meant(transcript, values, one, item))
    return replace(item, doubt=next(doubts, None))


def _phrases(
    words: Sequence[Word], key: str, before: bool, reach: int, doubt: str
) -> Iterator[Spoken]:
    """Each such phrase of one list."""
    for first, last in said(words, load().small_words[key]):
        yield Spoken(first, last, before, reach, doubt)


def _is_meant(
    transcript: Transcript, values: Sequence[NumberRun], phrase: Spoken, item: RoledNumber
) -> bool:
    """Whether a phrase speaks of a number: near it, with no pause and no other value between."""
    end, start = (phrase.last, item.first) if phrase.before else (item.last, phrase.first)
    # "not run since last year, drained ..."
    seconds = PAUSES.get(phrase.doubt, SHORT_PAUSE)
    if paused(transcript, end, start, seconds=seconds) or not 0 < start - end <= phrase.reach:
        return False
    between = [run for run in near(values, end, start) if end < run.first and run.last < start]
    return len(between) <= BETWEEN.get(phrase.doubt, 0)
