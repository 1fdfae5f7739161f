"""Step 4e: numbers among each other: units that a list says once, values taken back later.

"front two point two rear two point one bar" are two pressures in bar; "one ten no make that one
fifteen" is 115. Knows no bands.
"""

from __future__ import annotations

from dataclasses import replace

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.numbers import Number
from talklog.roled import FILLERS, MEASURING, RoledNumber
from talklog.scopes import paused
from talklog.transcript import Transcript
from talklog.vocabulary import load

JOINING = (*FILLERS, "and", "the", "is", "was", "are", "at", "on", "then", "both", "also", "a")
LIST_REACH = 9  # words between two values of a list that share a unit
LATE = ("all", "in", "is", "are", "er", "um", "them")  # before a unit that is said after a list
LATE_REACH = 30  # words from the first value of such a list to its unit
CLOSE = 2  # words from the place of a list item to its value ("front right is two point one")
CORRECTED = 7  # words between a value and the cue that takes it back
MANY = 24  # so many things at most are counted in a breath
QUOTED = ("quoted_spec", "other_opinion")
EITHER = "it was corrected behind a value that was quoted: which of them is not certain"
NEVER_CARRIED = ("turns", "flats")  # units of doing, not of a list of values


def with_carried_units(
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


def with_late_units(
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
            unit, counts = borrowed(other.unit, item.number), _may_count(transcript, item)
            doubt = item.doubt or ("it may count what was named" if counts else None)
            return replace(item, unit=unit, because=because, doubt=doubt, carried=True)
    return item


def _may_count(transcript: Transcript, item: RoledNumber) -> bool:
    """ "seventy newton metres, all three": three bolts, or 3 N.m."""
    value = item.number.value
    before = transcript.words[item.first - 1].text if item.first else ""
    return before == "all" and value == value.to_integral_value() and abs(value) <= MANY


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


def with_corrections(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """ "one ten no make that one fifteen newton metres": the first is superseded."""
    result = list(roled)
    for index in range(1, len(result)):
        earlier, item = result[index - 1], result[index]
        if not _correcting(transcript, mentions, earlier, item):
            continue
        before = result[index - 2] if index > 1 else None
        if before and _may_correct(transcript, before, earlier, item):
            unit = item.unit or (borrowed(before.unit, item.number) if before.unit else None)
            result[index - 2] = replace(before, doubt=before.doubt or EITHER)
            result[index] = replace(item, unit=unit, doubt=item.doubt or EITHER)
        else:
            result[index - 1 : index + 1] = _corrected(earlier, item)
    return result


def _may_correct(
    transcript: Transcript, before: RoledNumber, earlier: RoledNumber, item: RoledNumber
) -> bool:
    """ "nine bar, should be eleven, no, ten": the value, or what was quoted behind it."""
    quoted = earlier.role in QUOTED and earlier.sure and item.role in MEASURING
    near_by = before.role in MEASURING and 0 < earlier.first - before.last <= LIST_REACH
    return quoted and near_by and not paused(transcript, before.last, earlier.first)


def with_corrected_units(mentions: Mentions, roled: list[RoledNumber]) -> list[RoledNumber]:
    """ "ninety five foot pounds, sorry, newton metres": the value stays, its unit was corrected."""
    said = {item.unit.last: at for at, item in enumerate(roled) if item.unit is not None}
    units = {unit.first: unit for unit in mentions.of("unit")}
    numbers = {run.first for run in mentions.numbers}
    result = list(roled)
    for cue in mentions.cues_of("superseded"):
        unit, at = units.get(cue.last + 1), said.get(cue.first - 1)
        if unit is None or at is None or unit.last + 1 in numbers:
            continue
        if _alike(result[at].unit, unit):
            because = f"{result[at].because}; its unit was corrected just after"
            result[at] = replace(result[at], unit=unit, because=because)
    return result


def _alike(one: Mention | None, other: Mention) -> bool:
    """Whether two unit words can measure the same, and are not the same unit."""
    measured = [
        {q for words in unit.units for q in words.quantities} for unit in (one, other) if unit
    ]
    return one is not None and one.name != other.name and bool(set.intersection(*measured))


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
    own = item.sure or earlier.role in ("position", "superseded", "inside")
    kept = item.role if own else earlier.role
    unit = item.unit or (borrowed(earlier.unit, item.number) if earlier.unit else None)
    later = replace(
        item,
        role=kept if kept not in ("unknown", "position") else item.role,
        unit=unit,
        because=f"corrects the value before; {item.because}",
        sure=item.sure or earlier.sure,
    )
    taken_back = replace(earlier, role="superseded", because="corrected just after", sure=True)
    return taken_back, later
