"""The places with which something new begins -> the number right behind each of them."""

from __future__ import annotations

from talklog.belonging.found_note import FoundNote
from talklog.mentions import Mention
from talklog.scopes import SHORT_PAUSE
from talklog.vocabulary import load


def leading_places(note: FoundNote) -> dict[int, Mention]:
    """The places with which something new begins, each by the first word of the number right
    behind it: "top forty thou, middle thirty eight". In notes of train, dev and check 282 of 294
    are those of these numbers, and none is that of the number before."""
    starts = {place.last + 1: place for place in note.places if _begins(note, place)}
    return {item.first: starts[item.first] for item in note.roled if item.first in starts}


def _begins(note: FoundNote, place: Mention) -> bool:
    """Whether a pause stands before a place, and none behind it."""
    words, behind = note.transcript.words, place.last + 1
    begins = place.first == 0 or words[place.first].pause_before >= SHORT_PAUSE
    joined = behind < len(words) and words[behind].pause_before < SHORT_PAUSE
    heard = note.transcript.heard(place.first, place.last)
    return begins and joined and heard not in load().doubtful_places
