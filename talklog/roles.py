"""Step 4: each number gets its unit, its place in the sentence and its role. Knows no bands.

"torqued to one ten newton metres" -> 110, N.m, role set. Numbers that are no readings get the
reason why (quoted_spec, tool_size, count ...); what cannot be settled keeps its doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.numbers import Number, NumberRun
from talklog.transcript import Transcript
from talklog.vocabulary import load

LONG_PAUSE = 0.8  # seconds: what was said before no longer governs what follows
SHORT_PAUSE = 0.3  # seconds: a typed comma; what is counted follows without one
MEASURING = ("measured", "set", "as_found", "as_left")
# The first of these that governs a number decides.
ORDER = (
    "meter",
    "follow_up",
    "other_opinion",
    "quoted_spec",
    "hypothetical",
    "intention",
    "tool_size",
    "part_size",
    "time_or_date",
)
STATES = ("as_found", "as_left", "set")  # of these the nearest cue decides
SIZE_CUES = ("tool_size", "part_size")
NOT_MEASUREMENTS = ("ordinal", "tolerance", "rough", "unfinished", "tail")
CLOSE = 2  # words from the place of a list item to its value ("front right is two point one")
JOINING = ("and", "the", "is", "was", "at", "on", "um", "er", "uh", "then", "both", "also")
LARGEST_PLACE = 24  # cylinders, stations: a larger number is not a place
PLACE_NAMES = (
    "injector",
    "piston",
    "spark plug",
    "glow plug",
    "main bearing",
    "big end",
    "cylinder",
    "wheel bearing",
    "bearing",
)


@dataclass(frozen=True, slots=True)
class RoledNumber:
    """A number with its unit mention (``None`` if none was said) and its role.

    ``role`` is one of MEASURING, a why of SetAside, "position", "meter", "follow_up" or "unknown".
    ``doubt`` says what is not certain; ``others`` are other numbers the same words may be.
    """

    number: Number
    unit: Mention | None
    role: str
    because: str
    doubt: str | None = None
    others: tuple[Number, ...] = ()
    place: str | None = None  # "2" in "cylinder two one fifty"

    @property
    def first(self) -> int:
        return self.number.first

    @property
    def last(self) -> int:
        return self.unit.last if self.unit else self.number.last


def assign_roles(transcript: Transcript, mentions: Mentions) -> tuple[RoledNumber, ...]:
    """All numbers of a note, in order. Every number of the chosen readings is in the result."""
    roled: list[RoledNumber] = []
    for run in mentions.numbers:
        chosen = _chosen(transcript, mentions, run)
        roled += [_roled(transcript, mentions, run, chosen, number) for number in chosen]
    return tuple(_with_corrections(mentions, _with_carried_units(transcript, mentions, roled)))


# ---- which reading of a run ----------------------------------------------------------------------


def _chosen(transcript: Transcript, mentions: Mentions, run: NumberRun) -> tuple[Number, ...]:
    """The reading whose first number is a place when a place word stands before; the one that
    begins right after a correction ("make that one fifteen"); else the most usual."""
    if _place_word_before(transcript, mentions, run.first):
        for reading in run.readings:
            if len(reading) > 1 and _is_place(reading[0]):
                return reading
    if any(
        c.last + 1 == run.first and c.cue.category == "superseded"
        for c in near(mentions.cues, run.first, run.first)
    ):
        return next((r for r in run.readings if r and r[0].first == run.first), run.readings[0])
    return run.readings[0]


def _is_place(number: Number) -> bool:
    whole = number.value == number.value.to_integral_value()
    return (
        number.form in ("integer", "ordinal", "typed", "digits")
        and number.high is None
        and (whole and 0 < number.value <= LARGEST_PLACE and number.last == number.first)
    )


def _place_word_before(transcript: Transcript, mentions: Mentions, at: int) -> bool:
    if at and transcript.words[at - 1].text in load().numbered:
        return True
    return any(
        span.last == at - 1 and span.name in PLACE_NAMES
        for span in near(mentions.of("component"), at, at)
    )


# ---- one number ----------------------------------------------------------------------------------


def _roled(
    transcript: Transcript,
    mentions: Mentions,
    run: NumberRun,
    chosen: tuple[Number, ...],
    number: Number,
) -> RoledNumber:
    unit = _unit_after(transcript, mentions, number)
    starts_run = number.first == run.first
    if (
        starts_run
        and _place_word_before(transcript, mentions, run.first)
        and _is_place(number)
        and (unit is None)
    ):
        return RoledNumber(number, None, "position", "follows a word like cylinder or number")
    role, because = _role(transcript, mentions, number, unit)
    doubt, others = _doubt(run, chosen, number)
    return RoledNumber(number, unit, role, because, doubt, others)


def _unit_after(transcript: Transcript, mentions: Mentions, number: Number) -> Mention | None:
    """The unit straight after a number; "half a millimetre" has an article between."""
    after = number.last + 1
    article = after < len(transcript.words) and transcript.words[after].text in ("a", "an")
    start = after + 1 if article and number.form == "fraction" else after
    return next((u for u in near(mentions.of("unit"), start, start) if u.first == start), None)


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
    if wider:
        names = " or ".join(dict.fromkeys(n.said for n in wider))
        return f"the words could also mean {names}", wider[:4]
    return None, ()


def _role(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention | None
) -> tuple[str, str]:
    last = unit.last if unit else number.last
    governing = _governing(transcript, mentions, number.first, last)
    for category in ORDER:
        cue = governing.get(category)
        if cue is None or not _fits(category, cue, number, unit):
            continue
        return category, f'"{transcript.heard(cue.first, cue.last)}" stands near'
    states = [governing[name] for name in STATES if name in governing]
    if states and number.form not in NOT_MEASUREMENTS and number.high is None and unit is not None:
        cue = min(states, key=lambda mention: _distance(mention, number.first, last))
        return cue.cue.category, f'"{transcript.heard(cue.first, cue.last)}" stands near'
    if number.form in NOT_MEASUREMENTS:
        return "unknown", f"{number.form} number"
    if number.high is not None:
        return "quoted_spec", "a range is no reading"
    if unit is None and _counts(transcript, mentions, number):
        return "count", "counts what follows"
    if unit is not None and _is_time(unit):
        return "time_or_date", "a stretch of time"
    return "measured", "no other cue"


def _is_time(unit: Mention) -> bool:
    return all(words.quantities[0] == "time" for words in unit.units)


def _counts(transcript: Transcript, mentions: Mentions, number: Number) -> bool:
    """ "four new bolts": a whole number, with what it counts right behind it and no pause."""
    whole = number.value == number.value.to_integral_value()
    return (
        whole
        and number.form in ("integer", "typed")
        and any(
            number.last < span.first <= number.last + 2
            and not any(
                transcript.words[at].pause_before >= SHORT_PAUSE
                for at in range(number.last + 1, span.first + 1)
            )
            for span in near(mentions.of("component"), number.first, number.last)
        )
    )


def _fits(category: str, cue: CueMention, number: Number, unit: Mention | None) -> bool:
    """A size cue stands right beside a length or a bare number ("thirteen mil spanner", "m eight");
    a time cue means no volume or torque."""
    quantities = unit.units[0].quantities if unit else ()
    if category in SIZE_CUES:
        last = unit.last if unit else number.last
        beside = cue.first == last + 1 or cue.last == number.first - 1
        return beside and (unit is None or "length" in quantities)
    return category != "time_or_date" or unit is None or "time" in quantities


def _governing(
    transcript: Transcript, mentions: Mentions, first: int, last: int
) -> dict[str, CueMention]:
    """The nearest cue of each category that reaches the words ``first..last``."""
    cues = near(mentions.cues, first, last)
    stops = [m.first for m in cues if m.cue.category == "terminator"]
    found: dict[str, CueMention] = {}
    for mention in cues:
        if _reaches(transcript, mention, stops, first, last):
            old = found.get(mention.cue.category)
            if old is None or _distance(mention, first, last) <= _distance(old, first, last):
                found[mention.cue.category] = mention
    return found


def _distance(mention: CueMention, first: int, last: int) -> int:
    return first - mention.last if mention.cue.forward else mention.first - last


def _reaches(
    transcript: Transcript, mention: CueMention, stops: list[int], first: int, last: int
) -> bool:
    if mention.cue.forward:
        between = range(mention.last + 1, first + 1)
        inside = mention.last < first <= mention.last + mention.cue.scope
    else:
        between = range(last + 1, mention.first + 1)
        inside = last < mention.first <= last + mention.cue.scope
    if not inside or mention.cue.category == "terminator":
        return False
    broken = any(transcript.words[at].pause_before >= LONG_PAUSE for at in between)
    stopped = mention.cue.forward and any(mention.last < stop < first for stop in stops)
    return not broken and not stopped


# ---- across numbers ------------------------------------------------------------------------------


def _with_carried_units(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """In a list a unit is said once: bare readings take it from the next, else the last one."""
    result = list(roled)
    for index, item in enumerate(result):
        if item.role not in MEASURING or item.unit is not None:
            continue
        if not _has_its_own_place(mentions, result, item):
            continue  # "one forty p s i on three": the three is no pressure
        after = next((o for o in result[index + 1 :] if o.role in MEASURING), None)
        before = next((o for o in reversed(result[:index]) if o.role in MEASURING), None)
        for other, farthest in ((after, 9), (before, 9)):
            if other is None or other.unit is None:
                continue
            gap = (
                other.number.first - item.last if other is after else item.number.first - other.last
            )
            if 0 < gap <= farthest and _places_between(transcript, mentions, result, item, other):
                carried = _borrowed(other.unit, item.number)
                result[index] = replace(
                    item, unit=carried, because=f"{item.because}; unit carried within the list"
                )
                break
    return result


def _has_its_own_place(mentions: Mentions, roled: list[RoledNumber], item: RoledNumber) -> bool:
    """An item of a list names its place or component right before its value."""
    named = [
        s.last
        for s in near(mentions.spans, item.first, item.first)
        if s.kind in ("component", "position")
    ]
    numbered = [n.last for n in near(roled, item.first, item.first) if n.role == "position"]
    return any(0 < item.first - last <= CLOSE for last in (*named, *numbered))


def _borrowed(unit: Mention, number: Number) -> Mention:
    """A unit said elsewhere, as an empty span behind the number."""
    return replace(unit, first=number.last + 1, last=number.last)


def _places_between(
    transcript: Transcript,
    mentions: Mentions,
    roled: list[RoledNumber],
    item: RoledNumber,
    other: RoledNumber,
) -> bool:
    """Only places, components, readings and joining words may stand between the two: anything
    else begins a new subject, and its unit must not be borrowed."""
    left, right = sorted((item, other), key=lambda r: r.number.first)
    beside = near(roled, left.first, right.last)
    known = [(n.first, n.last) for n in beside if n.role in (*MEASURING, "position")]
    known += [
        (s.first, s.last)
        for s in near(mentions.spans, left.first, right.last)
        if s.kind in ("component", "position")
    ]
    return all(
        transcript.words[at].text in (*JOINING, *load().numbered)
        or any(first <= at <= last for first, last in known)
        for at in range(left.last + 1, right.number.first)
    )


def _with_corrections(mentions: Mentions, roled: list[RoledNumber]) -> list[RoledNumber]:
    """ "one ten no make that one fifteen newton metres": the first is superseded."""
    cues = [m for m in mentions.cues if m.cue.category == "superseded"]
    result = list(roled)
    for index, item in enumerate(result):
        if index == 0 or item.role not in (*MEASURING, "position"):
            continue
        earlier = result[index - 1]
        cue = next(
            (
                c
                for c in cues
                if earlier.number.last < c.first
                and c.last < item.number.first <= c.last + c.cue.scope
            ),
            None,
        )
        if cue is None or earlier.role not in (*MEASURING, "position"):
            continue
        role = earlier.role if item.role == "measured" else item.role
        result[index - 1] = replace(earlier, role="superseded", because="corrected just after")
        borrowed = _borrowed(earlier.unit, item.number) if earlier.unit else None
        result[index] = replace(
            item,
            role=role,
            unit=item.unit or borrowed,
            because=f"corrects the value before; {item.because}",
        )
    return result
