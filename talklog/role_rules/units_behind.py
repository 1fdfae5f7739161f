"""A number -> the unit that was said behind it. "half a millimetre"."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.mentions import Mention, Mentions, near
from talklog.number_words.names import counts_on
from talklog.numbers import Number
from talklog.scopes import SHORT_PAUSE, paused
from talklog.transcript import Transcript
from talklog.vocabulary import load

SECOND = "second"  # a place in a row, or a unit
TURNS = "turns"
LONGEST = 3  # words of a phrase before a part of a turn


def unit_behind(transcript: Transcript, mentions: Mentions, number: Number) -> Mention | None:
    """The unit straight after a number, or with a few words between: "half a millimetre", "point
    eight of an ohm", "thirty one back p s i"."""
    starts = _unit_starts(transcript, mentions, number)
    unit = next((unit for at in starts if (unit := _unit_at(mentions, at))), None)
    if unit is None:
        return _turns(transcript, number)
    return None if _is_of_the_next(transcript, mentions, number, unit) else unit


def _turns(transcript: Transcript, number: Number) -> Mention | None:
    """ "to thirty newton metres then back a quarter": of a turn, as an empty span behind it."""
    words = [word.text for word in transcript.words[max(0, number.first - LONGEST) : number.first]]
    said = [" ".join(words[at:]) for at in range(len(words))]
    if number.form != "fraction" or load().small_words["before_turns"].isdisjoint(said):
        return None
    turns = tuple(unit for unit in load().units if unit.name == TURNS)
    return Mention("unit", TURNS, number.last + 1, number.last, turns)


def _is_of_the_next(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention
) -> bool:
    """ "first one point one, second nought point six": a word behind a pause, with a number right
    behind it, is no unit of the number before; nor the second of "top fourteen second sixteen" and
    of "first notch ten second notch twenty"."""
    if counts_on(transcript.words, unit.first):
        return True
    parted = paused(transcript, number.last, unit.first, seconds=SHORT_PAUSE)
    ordinal = transcript.words[unit.first].text == SECOND and abs(number.value) > 1
    after = unit.last + 1
    runs = near(mentions.numbers, unit.last, after)
    number_behind = any(run.first <= after <= run.last for run in runs)
    breath = not paused(transcript, unit.last, after, seconds=SHORT_PAUSE)
    return (parted or ordinal) and number_behind and breath


def _unit_starts(transcript: Transcript, mentions: Mentions, number: Number) -> Iterator[int]:
    after = number.last + 1
    yield after
    for place in near(mentions.of("position"), after, after):
        if place.first == after:
            yield place.last + 1
    following = [word.text for word in transcript.words[after : after + 2]]
    if number.form in ("fraction", "decimal", "mixed"):
        if following[:1] in (["a"], ["an"]) and number.value < 1:  # "one and a half a minute"
            yield after + 1
        if following[:1] == ["of"]:
            yield after + 1 + (following[1:] in (["a"], ["an"]))


def _unit_at(mentions: Mentions, at: int) -> Mention | None:
    return next((u for u in near(mentions.of("unit"), at, at) if u.first == at), None)
