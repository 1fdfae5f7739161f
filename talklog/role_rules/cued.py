"""A number with its unit -> its role, by the cue that governs it or by what stands around it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.numbers import Number
from talklog.rates import RATE
from talklog.role_rules.without_cue import FORMS, GRADE, is_duration, role_without_cue
from talklog.roled import MEASURING
from talklog.scopes import fitting, holds, nearest
from talklog.transcript import Transcript
from talklog.word_kinds import ROLE_CUES

ASIDE = ("quoted_spec", "other_opinion", "intention", "hypothetical", "count", "time_or_date")
ASIDE += ("tool_size", "part_size")
STRONGEST = (*ASIDE, "denied", "meter")  # cues that count for more than the form of a number
STATES = ("as_found", "as_left")
OVERRULING = ("intention", "hypothetical", "quoted_spec", "other_opinion")
JUST = 2  # words between a cue and the cue that it overrules
METERS = ("mi", "km", "h")
DISTANCES, HOURS = ("mi", "km"), ("h",)
SMALLEST_METER = 100  # a bare number on the clock: less is the reading of a dial gauge


class Ruled(NamedTuple):
    """The role of a number by rule; ``sure`` where a cue or its form gave it, ``weak`` where that
    cue is but a hint."""

    role: str
    because: str
    sure: bool
    weak: bool = False


def role_of(
    transcript: Transcript, mentions: Mentions, number: Number, unit: Mention | None
) -> Ruled:
    """The role of a number, by what is due, its cue, its form or what stands around it."""
    span = Mention("number", "", number.first, unit.last if unit else number.last)
    if _is_due(transcript, mentions, span, number, unit):
        return Ruled("follow_up", "when something is due", sure=True)
    cue = _cue_of(transcript, mentions, span, number, unit)
    without = role_without_cue(transcript, mentions, number, unit)
    if cue is not None and cue.cue.category in STRONGEST and not _is_of_a_rate(cue, without):
        return _by_cue(transcript, mentions, cue, span, unit)
    if without is not None and not _is_state(cue, without, number):
        sure = number.form in FORMS or number.high is not None or without == GRADE
        return Ruled(*without, sure)
    if cue is None:
        return Ruled("measured", "no other cue", sure=False)
    return _by_cue(transcript, mentions, cue, span, unit)


def _by_cue(
    transcript: Transcript,
    mentions: Mentions,
    cue: CueMention,
    span: Mention,
    unit: Mention | None,
) -> Ruled:
    category = cue.cue.category
    role = "superseded" if category == "denied" else category
    why = f'"{transcript.heard(cue.first, cue.last)}" stands near'
    timed = category == "time_or_date" and unit is not None  # a stretch of time all the same
    settled = timed or category not in (*ASIDE, "denied")
    weak = not settled and not holds(transcript, mentions, cue, span)
    return Ruled(role, why, sure=True, weak=weak)


def _is_of_a_rate(cue: CueMention, without: tuple[str, str] | None) -> bool:
    """ "two and a half a minute": the minute is no time that something took."""
    return cue.cue.category == "time_or_date" and without == ("unknown", RATE)


def _is_state(cue: CueMention | None, without: tuple[str, str], number: Number) -> bool:
    """ "now forty eight": a count of nothing, if a state was said just before it."""
    state = cue is not None and cue.cue.category in STATES
    return state and without[0] == "count" and cue.last == number.first - 1


# ---- cues ----------------------------------------------------------------------------------------


def _cue_of(
    transcript: Transcript,
    mentions: Mentions,
    span: Mention,
    number: Number,
    unit: Mention | None,
) -> CueMention | None:
    """The cue that governs a number."""
    cues = [c for c in fitting(mentions, span, unit, ROLE_CUES) if _can_be(c, number, unit)]
    return _overruled(nearest(transcript, mentions, cues, span), cues)


def _overruled(cue: CueMention | None, cues: Sequence[CueMention]) -> CueMention | None:
    """ "going to set it to forty": the cue just before says what kind of setting that is."""
    if cue is None or cue.cue.category not in MEASURING:
        return cue
    before = [c for c in cues if c.cue.category in OVERRULING and 0 <= cue.first - c.last <= JUST]
    return before[-1] if before else cue


def _can_be(cue: CueMention, number: Number, unit: Mention | None) -> bool:
    """A meter counts miles, kilometres or hours, and a bare number on it is a large one."""
    if cue.cue.category != "meter":
        return True
    if unit is not None:
        return any(words.name in METERS for words in unit.units)
    return number.form != "decimal" and number.value >= SMALLEST_METER


# ---- what is due ---------------------------------------------------------------------------------


def _is_due(
    transcript: Transcript,
    mentions: Mentions,
    span: Mention,
    number: Number,
    unit: Mention | None,
) -> bool:
    """Whether a number says when something is due: a distance, hours, or weeks and the like, with
    a cue of what is to come."""
    by_unit = unit is not None and unit.name in (*DISTANCES, *HOURS)
    if not (by_unit or is_duration(transcript, number)) or _is_spent(mentions, span):
        return False
    cues = near(mentions.cues_of("follow_up"), span.first, span.last)
    return nearest(transcript, mentions, cues, span) is not None


def _is_spent(mentions: Mentions, span: Mention) -> bool:
    """ "two hours labour so far": time that work took."""
    cues = near(mentions.cues_of("time_or_date"), span.last, span.last)
    return any(
        cue.first == span.last + 1 and cue.cue.direction == "backward" and cue.cue.targets == "time"
        for cue in cues
    )
