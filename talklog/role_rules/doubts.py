"""A number of a run -> what is not certain of it, and what else its words may be."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from talklog.mentions import Mention
from talklog.numbers import Number, NumberRun
from talklog.places import Chosen
from talklog.scopes import SHORT_PAUSE, paused
from talklog.transcript import Transcript

UNPOINTED = "the point was not said"
PARTED = "a pause parts the number from its unit"
OF_ANOTHER = "the unit was said only of another value"
PERHAPS_NONE = "it may be no reading of this job"
IMPLIED = "that it is a part of a turn was not said"
OF_WHAT = "tenths of a thou or of a millimetre"
GIVEN_UP = (OF_ANOTHER, PERHAPS_NONE)  # doubts that the model of sureness decides upon instead
BLURRED = "where one number ends and the next begins could not be heard"
POINT = "point"  # of a decimal, or of a name: "set point"
MOST = 4  # other numbers that are told
JOINED = ("grouped", "digits")  # forms of numbers that could be two: "eight nineteen"
SPELLED = 3  # digits of a number that could be as many numbers
LISTED = 4  # numbers of a list of places and values at least

Doubt = tuple[str | None, tuple[Number, ...]]  # what is not certain, and the other numbers


def doubt_of(
    transcript: Transcript, run: NumberRun, chosen: Chosen, number: Number, unit: Mention | None
) -> Doubt:
    """What is not certain of a number taken from a run."""
    known = chosen.settled or (chosen.places and chosen.sure)
    doubt, others = (None, ()) if known else _of_its_words(transcript, run, chosen, number)
    if doubt is not None:
        return doubt, others
    if chosen.rivals and number == chosen.numbers[0]:
        said = chosen.rivals[0].said
        return f"its first word could be a place, and the value {said}", chosen.rivals
    if unit is not None and unit.last < unit.first:
        return IMPLIED, ()
    parted = unit is not None and _is_parted(transcript, number, unit)
    return (PARTED if parted else None), ()


def _is_parted(transcript: Transcript, number: Number, unit: Mention) -> bool:
    """Whether a long pause parts a number from its unit, or a short one with which something new
    may begin: "runs fine to forty, amps climb". In the notes of train, dev and check such a word
    is the unit of the number before in 4 of 69 cases."""
    after = unit.last + 1
    begins = paused(transcript, number.last, unit.first, seconds=SHORT_PAUSE)
    begins = begins and not _is_by_letters(transcript, unit)
    goes_on = after < len(transcript.words) and not paused(
        transcript, unit.last, after, seconds=SHORT_PAUSE
    )
    return paused(transcript, number.last, unit.first) or (begins and goes_on)


def _is_by_letters(transcript: Transcript, unit: Mention) -> bool:
    """ "p s i": letters are no words with which something else could begin."""
    return unit.last > unit.first and len(transcript.words[unit.first].text) == 1


def _of_its_words(transcript: Transcript, run: NumberRun, chosen: Chosen, number: Number) -> Doubt:
    """A number whose words may be another number must be asked about."""
    if number.form == "implied":
        others = tuple(n for reading in run.readings for n in reading if n.form != "implied")
        return UNPOINTED, others[:MOST]
    wider = _wider(run, (number,) if chosen.places else chosen.numbers, number)
    wider = wider or _without_point(transcript, run, number)
    if wider:
        return also_mean(wider), wider[:MOST]
    return (BLURRED if _is_blurred(transcript, run, chosen.numbers, number) else None), ()


def also_mean(others: Sequence[Number]) -> str:
    """The doubt of a number whose words may be others."""
    return f"the words could also mean {' or '.join(dict.fromkeys(n.said for n in others))}"


def _without_point(transcript: Transcript, run: NumberRun, number: Number) -> tuple[Number, ...]:
    """The 4 of "the booster set point four", where 0.4 was taken."""
    if transcript.words[number.first].text != POINT:
        return ()
    ends = (number.first + 1, number.last)
    return tuple(n for reading in run.readings for n in reading if (n.first, n.last) == ends)


def _wider(run: NumberRun, chosen: tuple[Number, ...], number: Number) -> tuple[Number, ...]:
    """Other numbers that take in the words of a number, and some that no chosen one has."""
    covered = {at for n in chosen for at in range(n.first, n.last + 1)}
    return tuple(
        n
        for reading in run.readings
        for n in reading
        if n.high is None
        and n.first <= number.first
        and n.last >= number.last
        and n.value != number.value
        and (n.form == "implied" or not covered.issuperset(range(n.first, n.last + 1)))
    )


def _is_blurred(
    transcript: Transcript, run: NumberRun, chosen: Sequence[Number], number: Number
) -> bool:
    """Whether one of its ends is no end that was heard: "point nine point nine" may be 0.9 and 9.9
    or 0.9 twice, and "one twenty five two twenty seven" may be values or places with values."""
    if _are_parted(transcript, chosen):
        return _is_spelled(transcript, number)
    if any(_are_places(way) for way in run.readings) or _is_spelled(transcript, number):
        return True
    at = chosen.index(number)
    beside = [
        *zip(chosen[max(0, at - 1) : at + 1], chosen[max(0, at - 1) + 1 : at + 2], strict=False)
    ]
    if number.form in JOINED and any(_follows(transcript, one, other) for one, other in beside):
        return True
    return any(_runs_on(transcript, one, other) for one, other in beside)


def _are_parted(transcript: Transcript, chosen: Sequence[Number]) -> bool:
    """Whether a pause parts each number from the next, as a list is dictated."""
    return len(chosen) > 1 and not any(
        _follows(transcript, one, other) for one, other in pairwise(chosen)
    )


def _runs_on(transcript: Transcript, one: Number, other: Number) -> bool:
    """Whether a decimal goes over into the next number, with no pause to part them."""
    decimals = one.form == "decimal" and other.form == "decimal"
    return decimals and _follows(transcript, one, other)


def _is_spelled(transcript: Transcript, number: Number) -> bool:
    """ "six seven six" in one breath: 676, or the depths of three tyres."""
    words = transcript.words[number.first : number.last + 1]
    zeros = any(word.text in ("oh", "nought", "zero") for word in words)
    spelled = number.form == "digits" and len(words) >= SPELLED and not zeros
    return spelled and all(word.pause_before < SHORT_PAUSE for word in words[1:])


def _follows(transcript: Transcript, one: Number, other: Number) -> bool:
    """Whether two numbers were said in one breath."""
    beside = other.first == one.last + 1
    return beside and not paused(transcript, one.last, other.first, seconds=SHORT_PAUSE)


def _are_places(way: Sequence[Number]) -> bool:
    """Whether every other number counts up from one: 1, 25, 2, 27, 3, 19."""
    places = [number.value for number in way[::2]]
    listed = len(way) >= LISTED and len(way) % 2 == 0
    return listed and places == list(range(1, len(places) + 1))
