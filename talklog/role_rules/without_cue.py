"""A number without a cue -> what its own form or its neighbours make of it."""

from __future__ import annotations

from talklog.lists import JOINING, LIST_REACH
from talklog.mentions import Mention, Mentions, near
from talklog.numbers import Number
from talklog.rates import RATE, is_rate
from talklog.scopes import SHORT_PAUSE, paused
from talklog.transcript import Transcript
from talklog.vocabulary import load

# What a number of this form is when no cue says more; it is never a reading.
FORMS = {
    "ordinal": ("count", "a place in a row"),
    "tolerance": ("quoted_spec", "a tolerance is no reading"),
    "rough": ("count", "a rough count"),
    "unfinished": ("unknown", "digits seem to be missing"),
    "tail": ("unknown", "a part of something said before"),
}
RANGE = "a range is no reading"
GRADED = ("bolt", "screw", "stud", "nut", "washer")  # "eight point eight bolt"
GRADE = ("part_size", "names what follows")
TIME = ("time_or_date", "a stretch of time")
# A unit said in the singular before a thing names its size: "a twelve volt battery".
ATTRIBUTIVE = (
    "volt",
    "amp",
    "newton",
    "inch",
    "litre",
    "liter",
    "ton",
    "tonne",
    "watt",
    "foot",
    "gallon",
)


def role_without_cue(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention | None
) -> tuple[str, str] | None:
    """(role, why), or ``None`` for a measurement."""
    if number.form in FORMS:
        return FORMS[number.form]
    if number.high is not None:
        return "quoted_spec", RANGE
    if unit is not None:
        return _by_unit(transcript, mentions, unit)
    return _by_what_follows(transcript, mentions, number)


def is_duration(transcript: Transcript, number: Number) -> bool:
    """Whether weeks and the like stand behind a number."""
    following = transcript.words[number.last + 1 : number.last + 2]
    return bool(following) and following[0].text in load().durations


def _by_what_follows(
    transcript: Transcript, mentions: Mentions, number: Number
) -> tuple[str, str] | None:
    if is_duration(transcript, number):
        return TIME
    if is_rate(_behind(transcript, number.last)):
        return "unknown", RATE
    named = _counted(transcript, mentions, number)
    if named is None:
        return None
    if number.form in ("integer", "typed", "grouped", "digits") and _is_whole(number):
        return "count", "counts what follows"
    return GRADE if named.base in GRADED else None


def _behind(transcript: Transcript, last: int) -> list[str]:
    return [word.text for word in transcript.words[last + 1 : last + 3]]


def _by_unit(transcript: Transcript, mentions: Mentions, unit: Mention) -> tuple[str, str] | None:
    if _is_time(mentions, unit):
        return TIME
    if is_rate(_behind(transcript, unit.last)):
        return "unknown", RATE
    close = near(mentions.of("component"), unit.last, unit.last)
    named = any(0 < span.first - unit.last <= 2 for span in close)
    if named and transcript.heard(unit.first, unit.last) in ATTRIBUTIVE:
        return GRADE
    return None


def _is_time(mentions: Mentions, unit: Mention) -> bool:
    """Unless somebody timed it: "closing time two seconds"."""
    close = near(mentions.of("quantity"), unit.first, unit.last)
    timed = any(q.name == "time" and abs(q.last - unit.first) <= LIST_REACH for q in close)
    return not timed and all(words.quantities[0] == "time" for words in unit.units)


def _is_whole(number: Number) -> bool:
    return number.value == number.value.to_integral_value()


def _counted(transcript: Transcript, mentions: Mentions, number: Number) -> Mention | None:
    """ "four new bolts": what is counted stands right behind the number with no pause."""
    close = near(mentions.of("component"), number.first, number.last)
    found = (
        span
        for span in close
        if 0 < span.first - number.last <= 2
        and not paused(transcript, number.last, span.first, seconds=SHORT_PAUSE)
        and _plain_between(transcript, number.last + 1, span.first)
        and not _is_place(mentions, span)
        and not any(
            run.first == span.last + 1 for run in near(mentions.numbers, span.last, span.last)
        )
    )
    return next(found, None)


def _is_place(mentions: Mentions, span: Mention) -> bool:
    """ "point two inlet point three exhaust": a side, not a thing."""
    places = near(mentions.of("position"), span.first, span.last)
    return any(p.first <= span.first and span.last <= p.last for p in places)


def _plain_between(transcript: Transcript, first: int, last: int) -> bool:
    """One adjective at most: "four new bolts", not "four on bolts"."""
    between = [transcript.words[at].text for at in range(first, last)]
    return all(word not in (*JOINING, "of", "in", "for", "with", "to") for word in between)
