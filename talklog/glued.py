"""Step 4h: numbers that may be two, or two that may be one, for reasons outside their own words.

"eight point three, pause, seven one" may be 8.371 or 8.3 and 7.1; "right one thirty five" may be
135, or 35 of the right one; "two ninety nine" behind "one is a hundred" 299, or 99 of the second;
"two litres two" may be 2.2. Knows no bands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from talklog.mentions import Mention, Mentions, near
from talklog.numbers import Number, find_numbers
from talklog.places import LARGEST_PLACE
from talklog.role_rules.doubts import BLURRED, GIVEN_UP
from talklog.roled import ARTICLE, MEASURING, RoledNumber
from talklog.scopes import SHORT_PAUSE
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

REACH = 16  # words between a place and the number that counts on from it
COUNTED = "its first word could be a place, and the value"
PRONOUN = "its first word could stand for a thing, and the value"
TAIL = "the number behind its unit may belong to it"
OF_BEFORE = "it may belong to the number before it"
PLACES = 6  # decimals of what has no end: two minutes forty in minutes
SIXTIETHS = ("h", "min", "deg")  # units whose parts are sixtieths, by definition (BIPM, table 8)
PLACED = ("position", "count", "inside", "part_quantity", ARTICLE)  # roles that stand by themselves
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
    return tuple(_with_tails(transcript, found))


def _doubted(
    transcript: Transcript, mentions: Mentions, item: RoledNumber, before: RoledNumber | None
) -> RoledNumber:
    if _goes_over_a_pause(transcript, item):
        return replace(item, doubt=BLURRED)
    rest = _rest(mentions, item.number)
    why = rest and _other_first_word(transcript, mentions, item.number)
    if not why or (why == PRONOUN and not _is_nearer(rest, item.number, before)):
        return item
    return replace(item, doubt=f"{why} {rest.said}", others=(rest, *item.others))


def _with_tails(transcript: Transcript, found: list[RoledNumber]) -> list[RoledNumber]:
    """Both numbers of "two litres two" and "seven inches four ten" are asked about."""
    result = list(found)
    for at, (one, other) in enumerate(pairwise(found)):
        if not _is_tail(transcript, one, other):
            continue
        joined = _with_tail(one, other.number)
        others = (joined, *one.others) if joined else one.others
        result[at] = replace(result[at], doubt=_firm(one) or TAIL, others=others)
        if other.role in MEASURING:
            result[at + 1] = replace(other, doubt=_firm(other) or OF_BEFORE)
    return result


def _firm(item: RoledNumber) -> str | None:
    """A doubt that stays whatever is known of the number besides."""
    return None if item.doubt in GIVEN_UP else item.doubt


def _is_tail(transcript: Transcript, one: RoledNumber, other: RoledNumber) -> bool:
    """Whether a number without a unit of its own follows a unit in the same breath."""
    own = one.role in MEASURING and one.unit is not None and not one.carried
    bare = other.role not in PLACED and (other.unit is None or other.carried)
    close = own and bare and other.first == one.last + 1 and one.number.last < one.last
    return close and _is_spoken_on(transcript, other.number)


def _is_spoken_on(transcript: Transcript, number: Number) -> bool:
    """Whether a number is said in one breath with the word before it, in words (nobody types "2 l
    2"), and is no stretch of time ("two years")."""
    word, behind = transcript.words[number.first], number.last + 1
    stretch = any(w.text in load().durations for w in transcript.words[behind : behind + 1])
    return word.pause_before < SHORT_PAUSE and not word.text[0].isdigit() and not stretch


def _with_tail(one: RoledNumber, tail: Number) -> Number | None:
    """ "two litres two" as 2.2; none where the parts cannot be told."""
    plain = tail.said.isdigit() and one.number.said.isdigit()
    parts = 60 if one.unit.name in SIXTIETHS else 10 ** len(tail.said)
    if not plain or not 0 < tail.value < parts:
        return None
    value = round(one.number.value + tail.value / parts, PLACES)
    said = f"{value.normalize():f}"
    return replace(one.number, last=tail.last, value=value, said=said, form="mixed")


def _is_nearer(rest: Number, number: Number, before: RoledNumber | None) -> bool:
    """Whether the shorter number is more like the value before: 35 than 135 behind 40."""
    last = before.number.value if before is not None else 0
    return bool(last) and abs(rest.value - last) < abs(number.value - last)


def _goes_over_a_pause(transcript: Transcript, item: RoledNumber) -> bool:
    """Whether a pause parts the digits behind a point, or the last word of a number that has an end
    before it: "two hundred and fifty | one at the axle", not "thirty | five p s i"."""
    number = item.number
    measured = item.unit is not None and not item.carried
    words = transcript.words[number.first : number.last + 1]
    ended = words[-1].pause_before >= SHORT_PAUSE and words[-2:-1] and _ends(words[-2].text)
    if ended and not measured and _place(transcript, number.last):
        return True
    at = next((at for at, word in enumerate(words) if word.text == "point"), len(words))
    return any(word.pause_before >= SHORT_PAUSE for word in words[at + 2 :])


def _ends(word: str) -> bool:
    """Whether a number may end with a word: not with "and" or "point"."""
    return bool(find_numbers((Word(word),)))


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
