"""Step 4: each number gets its unit, its place in the sentence and its role. Knows no bands.

"torqued to one ten newton metres" -> 110, N.m, role set. Numbers that are no readings get the
reason why (quoted_spec, tool_size, count ...); what cannot be settled keeps its doubt.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from talklog.lists import (
    with_carried_units,
    with_corrected_units,
    with_corrections,
    with_late_units,
)
from talklog.mentions import Mentions, near
from talklog.mixed import with_mixed
from talklog.numbers import Number, NumberRun
from talklog.places import Chosen, LastPlace, choose
from talklog.role_rules.cued import role_of
from talklog.role_rules.doubts import doubt_of
from talklog.role_rules.units_behind import unit_behind
from talklog.roled import MEASURING, RoledNumber
from talklog.shapes import Numbered, Shaped, find_shapes
from talklog.transcript import Transcript
from talklog.word_kinds import SHAPES

Cuts = Mapping[int, tuple[Number, ...]]


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
    shaped = with_corrected_units(mentions, _with_shapes(transcript, mentions, mixed))
    late = with_late_units(transcript, mentions, shaped)
    carried = with_carried_units(transcript, mentions, late)
    return tuple(with_corrections(transcript, mentions, carried))


def _is_of_a_unit(mentions: Mentions, run: NumberRun) -> bool:
    """The "million" of "parts per million"."""
    units = near(mentions.of("unit"), run.first, run.last)
    return any(unit.first < run.first and run.last <= unit.last for unit in units)


def _roled(
    transcript: Transcript, mentions: Mentions, run: NumberRun, chosen: Chosen, number: Number
) -> RoledNumber:
    if number.first in chosen.places:
        return RoledNumber(number, None, "position", "the number of a place", sure=True)
    unit = unit_behind(transcript, mentions, number)
    ruled = role_of(transcript, mentions, number, unit)
    doubt, others = doubt_of(transcript, run, chosen, number, unit)
    return RoledNumber(
        number, unit, ruled.role, ruled.because, doubt, others, ruled.sure, weak=ruled.weak
    )


def _renewed(transcript: Transcript, mentions: Mentions, item: RoledNumber) -> RoledNumber:
    """A number that was put together has a role of its own."""
    if item.number.form != "mixed" or item.role != "unknown":
        return item
    ruled = role_of(transcript, mentions, item.number, item.unit)
    return replace(item, **ruled._asdict())


def _with_shapes(
    transcript: Transcript, mentions: Mentions, roled: list[RoledNumber]
) -> list[RoledNumber]:
    """ "m ten by one point five": one size of two numbers."""
    free = [n for n in roled if n.role in (*MEASURING, *SHAPES, "unknown")]
    shapes = find_shapes(transcript, [Numbered(n.number, n.unit) for n in free])
    found = [shaped for shaped in shapes if not _is_torn(mentions, roled, shaped)]
    places = {n.first: at for at, n in enumerate(roled)}
    result = list(roled)
    for shaped in found:
        first, *others = (places[number] for number in shaped.numbers)
        because = f'has the form "{" ".join(shaped.shape.words)}"'
        unit = result[first].unit if result[first].last <= shaped.last else None
        result[first] = replace(
            result[first], unit=unit, role=shaped.shape.why, because=because, doubt=None, sure=True,
            weak=False, whole=(shaped.first, shaped.last),
        )  # fmt: skip
        for at in others:
            result[at] = replace(result[at], role="inside", because=because)
    return result


def _is_torn(mentions: Mentions, roled: Sequence[RoledNumber], shaped: Shaped) -> bool:
    """Whether an end of a shape is a part of something else: "one of" in "two point one of seventy
    five ninety", or the w of "one ninety w to earth"."""
    numbers = (n.number for n in near(roled, shaped.first, shaped.first))
    places = near(mentions.of("position"), shaped.last, shaped.last)
    return any(n.first < shaped.first <= n.last for n in numbers) or any(
        place.first == shaped.last < place.last for place in places
    )


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
