"""Step 4: each number gets its unit, its place in the sentence and its role. Knows no bands.

"torqued to one ten newton metres" -> 110, N.m, role set. Numbers that are no readings get the
reason why (quoted_spec, tool_size, count ...); what cannot be settled keeps its doubt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.numbers import Number, NumberRun
from talklog.places import Chosen, LastPlace, choose
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE, fitting, nearest, paused
from talklog.shapes import Numbered, find_shapes
from talklog.transcript import Transcript
from talklog.vocabulary import ROLE_CUES, SHAPES, load

__all__ = ["LONG_PAUSE", "MEASURING", "RoledNumber", "assign_roles"]

MEASURING = ("measured", "set", "as_found", "as_left")
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
FILLERS = ("um", "er", "uh", "erm", "like", "about")
JOINING = (*FILLERS, "and", "the", "is", "was", "are", "at", "on", "then", "both", "also", "a")
# A unit said in the singular before a thing names its size: "a twelve volt battery".
ATTRIBUTIVE = ("volt", "amp", "inch", "litre", "liter", "ton", "tonne", "watt", "foot", "gallon")
GRADED = ("bolt", "screw", "stud", "nut", "washer")  # "eight point eight bolt"
LIST_REACH = 9  # words between two values of a list that share a unit
OVERRULING = ("intention", "hypothetical", "quoted_spec", "other_opinion")
JUST = 2  # words between a cue and the cue that it overrules
NEVER_CARRIED = ("turns", "flats")  # units of doing, not of a list of values
LATE = ("all", "in", "is", "are", "er", "um", "them")  # before a unit that is said after a list
LATE_REACH = 30  # words from the first value of such a list to its unit
CLOSE = 2  # words from the place of a list item to its value ("front right is two point one")
CORRECTED = 7  # words between a value and the cue that takes it back


@dataclass(frozen=True, slots=True)
class RoledNumber:
    """A number with its unit mention (``None`` if none was said) and its role.

    ``role`` is one of MEASURING, a why of SetAside, "position", "meter", "follow_up" or "unknown".
    "inside" is a number of a size or date whose first number has the role.
    ``sure`` is whether a cue gave it. ``doubt`` says what is not certain; ``others`` are other
    numbers the same words may be. ``carried`` is true when the unit was said of another number.
    """

    number: Number
    unit: Mention | None
    role: str
    because: str
    doubt: str | None = None
    others: tuple[Number, ...] = ()
    sure: bool = False
    carried: bool = False
    whole: tuple[int, int] | None = None  # the words of the size or date that it is part of

    @property
    def first(self) -> int:
        return self.number.first

    @property
    def last(self) -> int:
        return max(self.unit.last, self.number.last) if self.unit else self.number.last


def assign_roles(transcript: Transcript, mentions: Mentions) -> tuple[RoledNumber, ...]:
    """All numbers of a note, in order. Every number of the chosen readings is in the result."""
    roled: list[RoledNumber] = []
    before: LastPlace | None = None
    for run in mentions.numbers:
        chosen = choose(transcript, mentions, run, before)
        found = [_roled(transcript, mentions, run, chosen, number) for number in chosen.numbers]
        roled += found
        before = _last_place(before, chosen, found)
    shaped = _with_shapes(transcript, roled)
    late = _with_late_units(transcript, mentions, shaped)
    carried = _with_carried_units(transcript, mentions, late)
    return tuple(_with_corrections(transcript, mentions, carried))


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
        return LastPlace(int(places[-1].value), found[-1].last)
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
    doubt, others = (None, ()) if chosen.places and chosen.sure else _doubt(run, rivals, number)
    return RoledNumber(number, unit, role, because, doubt, others, sure)


def _unit_after(transcript: Transcript, mentions: Mentions, number: Number) -> Mention | None:
    """The unit straight after a number, or with a few words between: "half a millimetre", "point
    eight of an ohm", "thirty one back p s i"."""
    starts = _unit_starts(transcript, mentions, number)
    return next((unit for at in starts if (unit := _unit_at(mentions, at))), None)


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
        return "the point was not said", others[:4]
    covered = {at for n in chosen for at in range(n.first, n.last + 1)}
    wider = tuple(
        n
        for reading in run.readings
        for n in reading
        if n.first <= number.first
        and n.last >= number.last
        and n.value != number.value
        and (n.form == "implied" or not covered.issuperset(range(n.first, n.last + 1)))
    )
    if not wider:
        return None, ()
    names = " or ".join(dict.fromkeys(n.said for n in wider))
    return f"the words could also mean {names}", wider[:4]


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
        return (*without, False)
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
        return "quoted_spec", "a range is no reading"
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
    return ("part_size", "names what follows") if named.base in GRADED else None


def _by_unit(transcript: Transcript, mentions: Mentions, unit: Mention) -> tuple[str, str] | None:
    if _is_time(mentions, unit):
        return "time_or_date", "a stretch of time"
    if transcript.words[unit.last + 1 : unit.last + 2][:1] and (
        transcript.words[unit.last + 1].text == "per"
    ):
        return "unknown", "a rate whose unit is not known"
    close = near(mentions.of("component"), unit.last, unit.last)
    named = any(0 < span.first - unit.last <= 2 for span in close)
    if named and transcript.heard(unit.first, unit.last) in ATTRIBUTIVE:
        return "part_size", "names what follows"
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


# ---- across numbers ------------------------------------------------------------------------------


def _with_carried_units(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """In a list a unit is said once: bare readings take it from the last one, else the next.
    Two passes, so that a unit said at the end reaches the whole list."""
    result = list(roled)
    for order in (range(len(result)), range(len(result) - 1, -1, -1)):
        for index in order:
            if result[index].role in MEASURING and result[index].unit is None:
                result[index] = _carried(transcript, mentions, result, index)
    return result


def _with_late_units(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """ "number one ninety two eighty that's all p s i": a unit said after the list."""
    claimed = {item.unit.first for item in roled if item.unit is not None}
    result = list(roled)
    for unit in mentions.of("unit"):
        before = transcript.words[unit.first - 1].text if unit.first else ""
        if unit.first in claimed or before not in LATE:
            continue
        for index in range(len(result) - 1, -1, -1):
            item = result[index]
            if not 0 < unit.first - item.last <= LATE_REACH:
                continue
            if item.unit is not None and item.unit.name != unit.name:
                break
            if item.role in MEASURING and item.unit is None:
                because = f"{item.because}; unit said after the list"
                mine = borrowed(unit, item.number)
                result[index] = replace(item, unit=mine, because=because, carried=True)
    return result


def _carried(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber], index: int
) -> RoledNumber:
    item = roled[index]
    if not _begins_item(mentions, roled, index):
        return item  # "one forty p s i on three": the three is no pressure
    for other in (_neighbour(roled, index, -1), _neighbour(roled, index, 1)):
        if other is None or other.unit is None or other.unit.name in NEVER_CARRIED:
            continue
        left, right = sorted((item, other), key=lambda r: r.first)
        gap = right.first - left.last
        if 0 < gap <= LIST_REACH and _one_list(transcript, mentions, roled, left, right):
            because = f"{item.because}; unit carried within the list"
            unit = borrowed(other.unit, item.number)
            return replace(item, unit=unit, because=because, carried=True)
    return item


def _begins_item(mentions: Mentions, roled: list[RoledNumber], index: int) -> bool:
    """An item of a list names its place or component right before its value, or follows on the
    value before it in one breath ("one ten one twelve")."""
    item = roled[index]
    named = [
        s.last
        for s in near(mentions.spans, item.first, item.first)
        if s.kind in ("component", "position")
    ]
    numbered = [n.last for n in near(roled, item.first, item.first) if n.role == "position"]
    if any(0 < item.first - last <= CLOSE for last in (*named, *numbered)):
        return True
    behind = near(mentions.of("position"), item.last, item.last)
    if any(place.first == item.last + 1 for place in behind):
        return True  # "twenty eight front and thirty one back p s i"
    before, after = _neighbour(roled, index, -1), _neighbour(roled, index, 1)
    if after is not None and after.first == item.last + 1:
        return True
    return before is not None and item.first == before.number.last + 1


def _neighbour(roled: list[RoledNumber], index: int, step: int) -> RoledNumber | None:
    """The next reading in a direction, over places."""
    at = index + step
    while 0 <= at < len(roled) and roled[at].role == "position":
        at += step
    return roled[at] if 0 <= at < len(roled) and roled[at].role in MEASURING else None


def borrowed(unit: Mention, number: Number) -> Mention:
    """A unit said elsewhere, as an empty span behind the number."""
    return replace(unit, first=number.last + 1, last=number.last)


def _one_list(
    transcript: Transcript,
    mentions: Mentions,
    roled: list[RoledNumber],
    left: RoledNumber,
    right: RoledNumber,
) -> bool:
    """Only places, components, readings and joining words may stand between the two: anything
    else begins a new subject, and its unit must not be borrowed."""
    if paused(transcript, left.last, right.first) or _new_thing(mentions, left, right):
        return False
    known: set[int] = set()
    for span in near(mentions.spans, left.first, right.last):
        if span.kind in ("component", "position"):
            known.update(range(span.first, span.last + 1))
    for number in near(roled, left.first, right.last):
        if number.role in (*MEASURING, "position"):
            known.update(range(number.first, number.number.last + 1))
    return all(
        at in known or transcript.words[at].text in (*JOINING, *load().numbered)
        for at in range(left.last + 1, right.first)
    )


def _new_thing(mentions: Mentions, left: RoledNumber, right: RoledNumber) -> bool:
    """Whether another thing is named between two values: "front two point one, battery twelve
    volts" is no list."""
    close = near(mentions.of("component"), left.first, right.first)
    before = [c.name for c in close if c.last < left.first][-1:]
    between = {c.name for c in close if left.last < c.first and c.last < right.first}
    return bool(before) and bool(between - set(before))


def _with_corrections(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """ "one ten no make that one fifteen newton metres": the first is superseded."""
    result = list(roled)
    for index in range(1, len(result)):
        earlier, item = result[index - 1], result[index]
        if _correcting(transcript, mentions, earlier, item):
            result[index - 1 : index + 1] = _corrected(earlier, item)
    return result


def _correcting(
    transcript: Transcript, mentions: Mentions, earlier: RoledNumber, item: RoledNumber
) -> bool:
    if item.role in ("superseded", "position") or item.role not in (*MEASURING, earlier.role):
        return False
    return any(
        0 < cue.first - earlier.last <= CORRECTED
        and 0 < item.first - cue.last <= cue.cue.scope
        and not _new_subject(mentions, cue, item)
        for cue in near(mentions.cues_of("superseded"), earlier.first, item.last)
    )


def _new_subject(mentions: Mentions, cue: CueMention, item: RoledNumber) -> bool:
    """A component or place named after the cue: not the same thing said again."""
    return cue.cue.scope <= 3 and any(
        cue.last < span.first < item.first
        for span in near(mentions.spans, cue.last, item.first)
        if span.kind in ("component", "position", "quantity")
    )


def _corrected(earlier: RoledNumber, item: RoledNumber) -> tuple[RoledNumber, RoledNumber]:
    """The later value takes over the role, and the unit when it has none of its own."""
    kept = item.role if item.sure or earlier.role in ("position", "superseded") else earlier.role
    unit = item.unit or (borrowed(earlier.unit, item.number) if earlier.unit else None)
    later = replace(
        item,
        role=kept if kept not in ("unknown", "position") else item.role,
        unit=unit,
        because=f"corrects the value before; {item.because}",
        sure=item.sure or earlier.sure,
    )
    return replace(earlier, role="superseded", because="corrected just after"), later
