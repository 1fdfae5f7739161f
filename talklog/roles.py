"""Step 4: each number gets its unit, its place in the sentence and its role. Knows no bands.

"torqued to one ten newton metres" -> 110, N.m, role set. Numbers that are no readings get the
reason why (quoted_spec, tool_size, count ...); what cannot be settled keeps its doubt.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from talklog.lists import (
    JOINING,
    LIST_REACH,
    with_carried_units,
    with_corrected_units,
    with_corrections,
    with_late_units,
)
from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.mixed import with_mixed
from talklog.numbers import Number, NumberRun
from talklog.places import Chosen, LastPlace, choose
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import SHORT_PAUSE, fitting, nearest, paused
from talklog.shapes import Numbered, find_shapes
from talklog.transcript import Transcript
from talklog.vocabulary import ROLE_CUES, SHAPES, load

ASIDE = ("quoted_spec", "other_opinion", "intention", "hypothetical", "count", "time_or_date")
ASIDE += ("tool_size", "part_size")
# What a number of this form is when no cue says more; it is never a reading.
FORMS = {
    "ordinal": ("count", "a place in a row"),
    "tolerance": ("quoted_spec", "a tolerance is no reading"),
    "rough": ("count", "a rough count"),
    "unfinished": ("unknown", "digits seem to be missing"),
    "tail": ("unknown", "a part of something said before"),
}
METERS = ("mi", "km", "h")
DISTANCES, HOURS = ("mi", "km"), ("h",)
SMALLEST_METER = 100  # a bare number on the clock: less is the reading of a dial gauge
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
GRADED = ("bolt", "screw", "stud", "nut", "washer")  # "eight point eight bolt"
GRADE = ("part_size", "names what follows")
OVERRULING = ("intention", "hypothetical", "quoted_spec", "other_opinion")
Cuts = Mapping[int, tuple[Number, ...]]
UNPOINTED = "the point was not said"
RANGE = "a range is no reading"
# Doubts that the model of sureness decides upon.
OF_ANOTHER = "the unit was said only of another value"
PERHAPS_NONE = "it may be no reading of this job"
BLURRED = "where one number ends and the next begins could not be heard"
JOINED = ("grouped", "digits")  # forms of numbers that could be two: "eight nineteen"
SPELLED = 3  # digits of a number that could be as many numbers
LISTED = 4  # numbers of a list of places and values at least
SECOND = "second"  # a place in a row, or a unit
TIMES = (SECOND, "minute", "hour", "day", "mile", "kilometre")  # "litres a second"
JUST = 2  # words between a cue and the cue that it overrules


def assign_roles(
    transcript: Transcript, mentions: Mentions, cuts: Cuts | None = None
) -> tuple[RoledNumber, ...]:
    """All numbers of a note, in order. Every number of the chosen readings is in the result.

    ``cuts`` says how some runs of number words, by their first words, are to be divided.
    """
    roled: list[RoledNumber] = []
    before: LastPlace | None = None
    for run in mentions.numbers:
        if _is_of_a_unit(mentions, run):
            continue
        cut = cuts.get(run.first) if cuts else None
        chosen = Chosen(cut) if cut else choose(transcript, mentions, run, before)
        found = [_roled(transcript, mentions, run, chosen, number) for number in chosen.numbers]
        roled += found
        before = _last_place(before, chosen, found)
    mixed = [_renewed(transcript, mentions, n) for n in with_mixed(transcript, mentions, roled)]
    shaped = with_corrected_units(mentions, _with_shapes(transcript, mixed))
    late = with_late_units(transcript, mentions, shaped)
    carried = with_carried_units(transcript, mentions, late)
    return tuple(with_corrections(transcript, mentions, carried))


def _is_of_a_unit(mentions: Mentions, run: NumberRun) -> bool:
    """The "million" of "parts per million"."""
    units = near(mentions.of("unit"), run.first, run.last)
    return any(unit.first < run.first and run.last <= unit.last for unit in units)


def _renewed(transcript: Transcript, mentions: Mentions, item: RoledNumber) -> RoledNumber:
    """A number that was put together has a role of its own."""
    if item.number.form != "mixed" or item.role != "unknown":
        return item
    role, because, sure = _role(transcript, mentions, item.number, item.unit)
    return replace(item, role=role, because=because, sure=sure)


def _with_shapes(transcript: Transcript, roled: list[RoledNumber]) -> list[RoledNumber]:
    """ "m ten by one point five": one size of two numbers."""
    free = [n for n in roled if n.role in (*MEASURING, *SHAPES, "unknown")]
    found = find_shapes(transcript, [Numbered(n.number, n.unit) for n in free])
    places = {n.first: at for at, n in enumerate(roled)}
    result = list(roled)
    for shaped in found:
        first, *others = (places[number] for number in shaped.numbers)
        because = f'has the form "{" ".join(shaped.shape.words)}"'
        unit = result[first].unit if result[first].last <= shaped.last else None
        result[first] = replace(
            result[first], unit=unit, role=shaped.shape.why, because=because, doubt=None, sure=True,
            whole=(shaped.first, shaped.last),
        )  # fmt: skip
        for at in others:
            result[at] = replace(result[at], role="inside", because=because)
    return result


def _last_place(
    before: LastPlace | None, chosen: Chosen, found: Sequence[RoledNumber]
) -> LastPlace | None:
    """The place said last; a value keeps its list alive, other numbers do not."""
    places = [number for number in chosen.numbers if number.first in chosen.places]
    if places:
        return LastPlace(int(places[-1].value), found[-1].last, found[-1].role != "position")
    if before is not None and len(found) == 1 and found[0].role in MEASURING:
        return LastPlace(before.number, found[0].last)
    return before


# ---- one number ----------------------------------------------------------------------------------


def _roled(
    transcript: Transcript, mentions: Mentions, run: NumberRun, chosen: Chosen, number: Number
) -> RoledNumber:
    if number.first in chosen.places:
        return RoledNumber(number, None, "position", "the number of a place", sure=True)
    unit = _unit_after(transcript, mentions, number)
    role, because, sure = _role(transcript, mentions, number, unit)
    rivals = (number,) if chosen.places else chosen.numbers
    known = chosen.settled or (chosen.places and chosen.sure)
    doubt, others = (None, ()) if known else _doubt(run, rivals, number)
    if doubt is None and not known and _is_blurred(transcript, run, chosen.numbers, number):
        doubt = BLURRED
    if doubt is None and chosen.rivals and number == chosen.numbers[0]:
        said = chosen.rivals[0].said
        doubt, others = f"its first word could be a place, and the value {said}", chosen.rivals
    if unit is not None and paused(transcript, number.last, unit.first):
        doubt = doubt or "a pause parts the number from its unit"
    return RoledNumber(number, unit, role, because, doubt, others, sure)


def _unit_after(transcript: Transcript, mentions: Mentions, number: Number) -> Mention | None:
    """The unit straight after a number, or with a few words between: "half a millimetre", "point
    eight of an ohm", "thirty one back p s i"."""
    starts = _unit_starts(transcript, mentions, number)
    unit = next((unit for at in starts if (unit := _unit_at(mentions, at))), None)
    return unit if unit and not _is_of_the_next(transcript, mentions, number, unit) else None


def _is_of_the_next(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention
) -> bool:
    """ "first one point one, second nought point six": a word behind a pause, with a number right
    behind it, is no unit of the number before; nor the second of "top fourteen second sixteen"."""
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
        if following[:1] in (["a"], ["an"]):
            yield after + 1
        if following[:1] == ["of"]:
            yield after + 1 + (following[1:] in (["a"], ["an"]))


def _unit_at(mentions: Mentions, at: int) -> Mention | None:
    return next((u for u in near(mentions.of("unit"), at, at) if u.first == at), None)


def _doubt(
    run: NumberRun, chosen: tuple[Number, ...], number: Number
) -> tuple[str | None, tuple[Number, ...]]:
    """A number whose words may be another number must be asked about."""
    if number.form == "implied":
        others = tuple(n for reading in run.readings for n in reading if n.form != "implied")
        return UNPOINTED, others[:4]
    covered = {at for n in chosen for at in range(n.first, n.last + 1)}
    wider = tuple(
        n
        for reading in run.readings
        for n in reading
        if n.high is None
        and n.first <= number.first
        and n.last >= number.last
        and n.value != number.value
        and (n.form == "implied" or not covered.issuperset(range(n.first, n.last + 1)))
    )
    if not wider:
        return None, ()
    names = " or ".join(dict.fromkeys(n.said for n in wider))
    return f"the words could also mean {names}", wider[:4]


def _is_blurred(
    transcript: Transcript, run: NumberRun, chosen: Sequence[Number], number: Number
) -> bool:
    """Whether one of its ends is no end that was heard: "point nine point nine" may be 0.9 and 9.9
    or 0.9 twice, and "one twenty five two twenty seven" may be values or places with values."""
    if any(_are_places(way) for way in run.readings) or _is_spelled(transcript, number):
        return True
    at = chosen.index(number)
    beside = [
        *zip(chosen[max(0, at - 1) : at + 1], chosen[max(0, at - 1) + 1 : at + 2], strict=False)
    ]
    if number.form in JOINED and any(_follows(transcript, one, other) for one, other in beside):
        return True
    return any(_runs_on(transcript, one, other) for one, other in beside)


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


def _role(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention | None
) -> tuple[str, str, bool]:
    """(role, why, whether a cue gave it)."""
    span = Mention("number", "", number.first, unit.last if unit else number.last)
    if due_words(transcript, number, unit) and _governed(transcript, mentions, span, "follow_up"):
        return "follow_up", "when something is due", True
    cues = [c for c in fitting(mentions, span, unit, ROLE_CUES) if _can_be(c, number, unit)]
    cue = _overruled(nearest(transcript, mentions, cues, span), cues)
    if cue is not None and (cue.cue.category in (*ASIDE, "denied", "meter")):
        why = f'"{transcript.heard(cue.first, cue.last)}" stands near'
        return ("superseded" if cue.cue.category == "denied" else cue.cue.category), why, True
    without = _without_cue(transcript, mentions, number, unit)
    state = cue is not None and cue.cue.category in ("as_found", "as_left")
    if without is not None and without[0] == "count" and state and cue.last == number.first - 1:
        without = None  # "now forty eight"
    if without is not None:
        sure = number.form in FORMS or number.high is not None or without == GRADE
        return (*without, sure)
    if cue is not None:
        why = f'"{transcript.heard(cue.first, cue.last)}" stands near'
        return cue.cue.category, why, True
    return "measured", "no other cue", False


def _overruled(cue: CueMention | None, cues: Sequence[CueMention]) -> CueMention | None:
    """ "going to set it to forty": the cue just before says what kind of setting that is."""
    if cue is None or cue.cue.category not in MEASURING:
        return cue
    before = [c for c in cues if c.cue.category in OVERRULING and 0 <= cue.first - c.last <= JUST]
    return before[-1] if before else cue


def _governed(transcript: Transcript, mentions: Mentions, span: Mention, category: str) -> bool:
    cues = near(mentions.cues_of(category), span.first, span.last)
    return nearest(transcript, mentions, cues, span) is not None


def due_words(transcript: Transcript, number: Number, unit: Mention | None) -> bool:
    """Whether a number can say when something is due: a distance, hours, or weeks and the like."""
    following = transcript.words[number.last + 1 : number.last + 2]
    if following and following[0].text in load().durations:
        return True
    return unit is not None and unit.name in (*DISTANCES, *HOURS)


def _can_be(cue: CueMention, number: Number, unit: Mention | None) -> bool:
    """A meter counts miles, kilometres or hours, and a bare number on it is a large one."""
    if cue.cue.category != "meter":
        return True
    if unit is not None:
        return any(words.name in METERS for words in unit.units)
    return number.form != "decimal" and number.value >= SMALLEST_METER


def _without_cue(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention | None
) -> tuple[str, str] | None:
    """What the number's own form or its neighbours make of it, or ``None`` for a measurement."""
    if number.form in FORMS:
        return FORMS[number.form]
    if number.high is not None:
        return "quoted_spec", RANGE
    if unit is not None:
        return _by_unit(transcript, mentions, unit)
    following = transcript.words[number.last + 1 : number.last + 2]
    if following and following[0].text in load().durations:
        return "time_or_date", "a stretch of time"
    named = _counted(transcript, mentions, number)
    if named is None:
        return None
    if number.form in ("integer", "typed", "grouped", "digits") and _is_whole(number):
        return "count", "counts what follows"
    return GRADE if named.base in GRADED else None


def _by_unit(transcript: Transcript, mentions: Mentions, unit: Mention) -> tuple[str, str] | None:
    if _is_time(mentions, unit):
        return "time_or_date", "a stretch of time"
    if _is_rate([word.text for word in transcript.words[unit.last + 1 : unit.last + 3]]):
        return "unknown", "a rate whose unit is not known"
    close = near(mentions.of("component"), unit.last, unit.last)
    named = any(0 < span.first - unit.last <= 2 for span in close)
    if named and transcript.heard(unit.first, unit.last) in ATTRIBUTIVE:
        return "part_size", "names what follows"
    return None


def _is_rate(following: Sequence[str]) -> bool:
    """ "litres per ...", "inches a second": behind a unit that is none of those known whole."""
    return following[:1] == ["per"] or (
        following[:1] in (["a"], ["an"], ["every"]) and following[1:] in ([time] for time in TIMES)
    )


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
