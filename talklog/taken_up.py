"""Step 4g: values that were quoted, and then said to be what was set or left. Knows no bands.

"plate says thirty two, so that's what i put them at": the 32 is no longer only what the plate says.
It becomes a reading, to be asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from talklog.mentions import Mentions, near
from talklog.roled import MEASURING, RoledNumber
from talklog.said import said
from talklog.scopes import paused
from talklog.transcript import Transcript
from talklog.vocabulary import load

DOUBT = "it was quoted, and then said to be what was done"
QUOTED = ("quoted_spec", "intention")
ROLES = {"set_as_quoted": "set", "left_as_quoted": "as_left"}  # list of phrases -> role
BACK = 14  # words from a phrase back to the value that it means, and from that to another
OWN = 4  # words behind a phrase in which it has a value of its own: "i've set both to forty"


def with_taken_up(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers; those quoted that a phrase points back to are readings, with a doubt."""
    found = list(roled)
    for first, last, role in _phrases(transcript):
        if not _has_own(transcript, mentions, last):
            for at in _meant(roled, first):
                because = (
                    f'{roled[at].because}; "{transcript.heard(first, last)}" points back to it'
                )
                found[at] = replace(
                    roled[at], role=role, because=because, doubt=roled[at].doubt or DOUBT, sure=True
                )
    return tuple(found)


def _phrases(transcript: Transcript) -> Iterator[tuple[int, int, str]]:
    """(first word, last word, role) of each phrase that points back."""
    for key, role in ROLES.items():
        for first, last in said(transcript.words, load().small_words[key]):
            if first:
                yield first, last, role


def _has_own(transcript: Transcript, mentions: Mentions, last: int) -> bool:
    """Whether a number follows a phrase in the same breath."""
    runs = near(mentions.numbers, last, last + OWN)
    return any(
        0 < run.first - last <= OWN and not paused(transcript, last, run.first) for run in runs
    )


def _meant(roled: Sequence[RoledNumber], first: int) -> Iterator[int]:
    """The quoted numbers before a phrase, by their index, back to the next reading."""
    reach = first
    for at in range(len(roled) - 1, -1, -1):
        item = roled[at]
        if item.first >= first:
            continue
        if item.role in MEASURING or reach - item.last > BACK:
            return
        reach = item.first
        if item.role in QUOTED and item.number.high is None:
            yield at
