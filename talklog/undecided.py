"""Step 4i: what the speaker himself left open, besides values. Knows no bands.

"i'm not sure i did the bolts" and "it's the relay or the harness" become no finding and no work
done: they are asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from talklog.mentions import Mentions, near
from talklog.notes import Unsure
from talklog.said import said
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

EITHER = "the speaker named two things and did not say which"
SAME = "it was said to be the same as a value before"
BEFORE = 14  # words from that value to such a phrase
BESIDE = 2  # words from a place or thing to it: "right is the same"
OPEN = "the speaker was not sure of it"
REACH = 6  # words behind such a phrase that say what it is about
ARTICLES = ("a", "an", "the", "its", "my", "his", "her", "their")


def undecided(transcript: Transcript, mentions: Mentions) -> tuple[Unsure, ...]:
    """The stretches of a note that say of themselves that they are not certain, in order."""
    found = [*_open(transcript), *_either(transcript, mentions), *_same(transcript, mentions)]
    return tuple(sorted(found, key=lambda unsure: unsure.first))


def _open(transcript: Transcript) -> Iterator[Unsure]:
    """ "not sure i did" with what follows it in the same breath."""
    for first, last in said(transcript.words, load().small_words["left_open"]):
        yield Unsure(OPEN, first, _breath(transcript, last))


def _breath(transcript: Transcript, last: int) -> int:
    """The last word that is said in one breath with the word ``last``, not too far behind it."""
    words, end = transcript.words, last
    while end + 1 < len(words) and words[end + 1].pause_before < SHORT_PAUSE and end - last < REACH:
        end += 1
    return end


def _either(transcript: Transcript, mentions: Mentions) -> Iterator[Unsure]:
    """ "the relay or the harness": two names with nothing but "or" between them."""
    words = transcript.words
    for one, other in pairwise(mentions.of("component")):
        between = [word.text for word in words[one.last + 1 : other.first]]
        parted = any(w.pause_before >= LONG_PAUSE for w in words[one.last + 1 : other.first + 1])
        joined = between[:1] == ["or"] and all(word in ARTICLES for word in between[1:])
        if joined and not parted:
            yield Unsure(EITHER, one.first, other.last)


def _same(transcript: Transcript, mentions: Mentions) -> Iterator[Unsure]:
    """ "left tyre twenty psi, right the same": the second value is not written down as said."""
    return iter({unsure.last: unsure for unsure in _all_same(transcript, mentions)}.values())


def _all_same(transcript: Transcript, mentions: Mentions) -> Iterator[Unsure]:
    words = transcript.words
    named = [span for span in mentions.spans if span.kind in ("component", "position")]
    for phrase in load().small_words["same"]:
        own = phrase.split()
        for first in range(1, len(words) - len(own) + 1):
            last = first + len(own) - 1
            if [word.text for word in words[first : last + 1]] != own or not _ends(words, last):
                continue
            beside = [span for span in near(named, first, first) if 0 < first - span.last <= BESIDE]
            values = near(mentions.numbers, first, first)
            if beside and any(0 < first - run.last <= BEFORE for run in values):
                yield Unsure(SAME, beside[-1].first, last)


def _ends(words: Sequence[Word], last: int) -> bool:
    """Whether a phrase ends there, or goes on with something new."""
    after = words[last + 1] if last + 1 < len(words) else None
    return after is None or after.pause_before >= SHORT_PAUSE or after.text in ("and", "on", "but")
