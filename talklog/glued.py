"""Step 4h: numbers that may be two, for reasons outside their own words. Knows no bands.

"eight point three, pause, seven one" may be 8.371 or 8.3 and 7.1; "right one thirty five" may be
135, or 35 of the right one; "two ninety nine" behind "one is a hundred" 299, or 99 of the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from talklog.mentions import Mention, Mentions, near
from talklog.numbers import Number, find_numbers
from talklog.places import LARGEST_PLACE
from talklog.roled import MEASURING, RoledNumber
from talklog.roles import BLURRED
from talklog.scopes import SHORT_PAUSE
from talklog.transcript import Transcript

REACH = 16  # words between a place and the number that counts on from it
COUNTED = "its first word could be a place, and the value"
PRONOUN = "its first word could stand for a thing, and the value"
NAMES = ("position", "component", "quantity")


def with_glued(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with a doubt on each reading that may be two; the second is its alternative."""
    found: list[RoledNumber] = []
    before: RoledNumber | None = None
    for item in roled:
        valued = item.role in MEASURING
        if valued and not item.doubt:
            item = _doubted(transcript, mentions, item, before)
        found.append(item)
        before = item if valued else before
    return tuple(found)


def _doubted(
    transcript: Transcript, mentions: Mentions, item: RoledNumber, before: RoledNumber | None
) -> RoledNumber:
    if _goes_over_a_pause(transcript, item.number):
        return replace(item, doubt=BLURRED)
    rest = _rest(mentions, item.number)
    why = rest and _other_first_word(transcript, mentions, item.number)
    if not why or (why == PRONOUN and not _is_nearer(rest, item.number, before)):
        return item
    return replace(item, doubt=f"{why} {rest.said}", others=(rest, *item.others))


def _is_nearer(rest: Number, number: Number, before: RoledNumber | None) -> bool:
    """Whether the shorter number is more like the value before: 35 than 135 behind 40."""
    last = before.number.value if before is not None else 0
    return bool(last) and abs(rest.value - last) < abs(number.value - last)


def _goes_over_a_pause(transcript: Transcript, number: Number) -> bool:
    """Whether a pause parts the digits behind a point."""
    words = transcript.words[number.first : number.last + 1]
    at = next((at for at, word in enumerate(words) if word.text == "point"), len(words))
    return any(word.pause_before >= SHORT_PAUSE for word in words[at + 2 :])


def _rest(mentions: Mentions, number: Number) -> Number | None:
    """The number that all words but the first make, of one such as "one thirty five"."""
    if number.form not in ("grouped", "digits") or number.first == number.last:
        return None
    runs = (run for run in mentions.numbers if run.first <= number.first <= run.last)
    found = (n for run in runs for reading in run.readings for n in reading)
    ends = (number.first + 1, number.last)
    return next((n for n in found if (n.first, n.last) == ends and n.value), None)


def _other_first_word(transcript: Transcript, mentions: Mentions, number: Number) -> str | None:
    first = _place(transcript, number.first)
    if first == 1:
        before = near(mentions.of("position"), number.first, number.first)
        return PRONOUN if any(_ends_before(place, number.first) for place in before) else None
    starts = range(max(0, number.first - REACH), number.first)
    earlier = {_place(transcript, at) for at in starts if _begins(transcript, mentions, at)}
    return COUNTED if first and first - 1 in earlier else None


def _place(transcript: Transcript, at: int) -> int:
    """The place that a word alone could be, from 1 on; 0 if it is none."""
    alone = [n for run in find_numbers(transcript.words[at : at + 1]) for n in run.readings[0]]
    return next((int(n.value) for n in alone if 1 <= n.value <= LARGEST_PLACE), 0)


def _begins(transcript: Transcript, mentions: Mentions, at: int) -> bool:
    """Whether a word stands where a place is said: behind a pause or a name."""
    if at == 0 or transcript.words[at].pause_before >= SHORT_PAUSE:
        return True
    spans = near(mentions.spans, at, at)
    return any(span.kind in NAMES and _ends_before(span, at) for span in spans)


def _ends_before(span: Mention, at: int) -> bool:
    return span.last == at - 1
