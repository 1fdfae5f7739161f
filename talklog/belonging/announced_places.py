"""The places that were announced at the head of a list -> the place of each of its values:
"compressions one to four | one forty | one thirty eight | one forty two | one forty"."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.belonging.found_note import FoundNote
from talklog.belonging.read_places import number_word_at
from talklog.mentions import Mention, near
from talklog.roled import FILLERS, MEASURING, RoledNumber

THROUGH = ("to", "through", "thru")
MOST = 24  # places in a list; more were never announced in a breath
LEAD = 12  # words from the announcement to the first value: "one to four on the test hot"
EACH = ("all", "each", "every")  # "one to four all one fifty"
JOINING = (*FILLERS, "and", "then", "next", "also")


def announced_places(note: FoundNote) -> dict[int, Mention]:
    """By the first word of each value its place, where exactly as many values as places follow one
    upon the other (of more or fewer nobody knows which is missing), or one for all of them."""
    found: dict[int, Mention] = {}
    for last, most in _announcements(note):
        values = list(_values(note, last))
        if len(values) == 1 and set(note.between(last, values[0].first)) & set(EACH):
            found[values[0].first] = Mention("place", f"1 to {most}", last, last)
        if len(values) == most:
            found |= {
                item.first: Mention("place", str(place), last, last)
                for place, item in enumerate(values, start=1)
            }
    return found


def _announcements(note: FoundNote) -> Iterator[tuple[int, int]]:
    """Where places from one on are announced: the last word, and how many they are."""
    words = note.transcript.words
    for at in range(1, len(words) - 1):
        if words[at].text not in THROUGH or _whole_at(note, at - 1) != 1:
            continue
        most = _whole_at(note, at + 1)
        read = (item for item in near(note.roled, at, at) if item.role in MEASURING)
        if 1 < most <= MOST and not any(i.first <= at + 1 and at - 1 <= i.last for i in read):
            yield at + 1, most


def _whole_at(note: FoundNote, at: int) -> int:
    """The whole number that a word is by itself, else nothing."""
    place = number_word_at(note, at)
    return int(place.name) if place is not None else 0


def _values(note: FoundNote, last: int) -> Iterator[RoledNumber]:
    """The values that follow one upon the other behind a word."""
    reach = LEAD
    for item in note.roled:
        if item.first <= last:
            continue
        between = note.between(last, item.first)
        follows = len(between) <= reach or all(word in JOINING for word in between)
        if item.role not in MEASURING or not follows:
            return
        yield item
        last, reach = item.last, 0
