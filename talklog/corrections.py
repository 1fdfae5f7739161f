"""Step 8: a ServiceRecord and one correction by a person -> the corrected ServiceRecord.

Nothing is changed in place and nothing is forgotten: the words heard stay with every item, the
reason says who corrected what, and the caller keeps the old record as the revision before. Verdicts
and flags are judged again by ``check``; this module does no arithmetic of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

from talklog.bands import BandSheet
from talklog.corrected.as_checked import as_checked
from talklog.corrected.fields import FIELDS, blank_reading, changed, number_typed, text_typed
from talklog.corrected.flags import flagged, still_unsure
from talklog.corrected.verdicts import judged_again
from talklog.errors import CorrectionError, RecordError
from talklog.new_record import band_ref
from talklog.record import (
    Reading,
    ServiceRecord,
    SetAside,
    Why,
    load_record,
    to_json,
)
from talklog.units import unit_named
from talklog.verdicts.kinds import CheckedReading
from talklog.verdicts.names import described

WHYS: tuple[str, ...] = get_args(Why)
METER_UNITS = ("mi", "km", "h")
# A reading that a person has looked at says so first in its reason.
_LOOKED_AT = ("Accepted by ", "Corrected by ", "Entered by ")
_CORRECTED = re.compile(r"(?:Accepted by .*?\. )?(Corrected by .*?; heard “[^”]*”\. )")


@dataclass(frozen=True, slots=True)
class Correction:
    """What a person says about one item of a record.

    ``kind`` is one of KINDS; ``group`` and ``index`` name the item ("readings", 2); the meter, of
    which there is one, has index 0. ``changes`` are texts as typed, by field: for a reading value,
    unit, quantity, component, position, condition, role; for the meter value and unit; an empty
    text takes the field away. ``why`` is the reason for setting a number aside.
    """

    kind: str
    who: str
    group: str = "readings"
    index: int = 0
    changes: Mapping[str, str] = field(default_factory=dict)
    why: str = ""


@dataclass(frozen=True, slots=True)
class Corrected:
    """The new record, and in one sentence what was done and what had been heard."""

    record: ServiceRecord
    what: str


def correct(
    record: ServiceRecord, correction: Correction, *, sheet: BandSheet | None = None
) -> Corrected:
    """The record with one item corrected.

    A value of 0.52 heard and 0.25 meant -> the same reading with 0.25, judged again by the band it
    carries; ``sheet`` is looked at only where that band no longer fits, or there was none.
    Raises CorrectionError, in words for the person, when the correction makes no sense.
    """
    who = text_typed(correction.who, "your name")
    if not who:
        raise CorrectionError("Give your name: the record says who corrected it.")
    groups, change = _kind(correction.kind)
    if correction.group not in groups:
        raise CorrectionError(f"{correction.kind}: not possible for {correction.group!r}.")
    item = _item(record, correction)
    made = change(_Job(record, correction, who, sheet, item))
    return Corrected(_valid(made.record), made.what)


def is_looked_at(reading: Reading) -> bool:
    """Has a person accepted, corrected or entered this reading?"""
    return reading.reason.startswith(_LOOKED_AT)


@dataclass(frozen=True, slots=True)
class _Job:
    """A correction under way; ``item`` is what it is about."""

    record: ServiceRecord
    correction: Correction
    who: str
    sheet: BandSheet | None
    item: Any

    @property
    def index(self) -> int:
        return self.correction.index

    def judged(self, after: Reading, before: Reading | None) -> CheckedReading:
        return judged_again(self.record, after, before, sheet=self.sheet)


def _kind(name: str) -> tuple[tuple[str, ...], Callable[[_Job], Corrected]]:
    if name not in KINDS:
        raise CorrectionError(f"{name!r} is no correction; known are {', '.join(KINDS)}.")
    return KINDS[name]


def _item(record: ServiceRecord, correction: Correction) -> Any:
    found = getattr(record, correction.group)
    items = (found,) if correction.group == "meter" else found
    if not 0 <= correction.index < len(items) or items[correction.index] is None:
        raise CorrectionError("That item is not in the record any more; load the page again.")
    return items[correction.index]


def _valid(record: ServiceRecord) -> ServiceRecord:
    """The same by way of JSON: what is kept must follow the schema, whatever went in."""
    try:
        return load_record(to_json(record), where="correction")
    except RecordError as error:
        raise CorrectionError(str(error)) from error


# ---- kinds of correction -------------------------------------------------------------------------


def _accept(job: _Job) -> Corrected:
    reading: Reading = job.item
    judged = _accepted(job, reading)
    if judged.verdict == "unsure" and reading.unit is None and reading.band is not None:
        raise CorrectionError("No unit was said: correct it by giving the unit, or set it aside.")
    reason = f"Accepted by {job.who}. {_accepted_reason(reading, judged)}"
    after = _with_verdict(reading, judged, reason)
    what = f"accepted {described(reading)}, {_amount(reading)}, as heard: “{reading.heard}”"
    return Corrected(_with_reading(job, after, judged), what)


def _accepted(job: _Job, reading: Reading) -> CheckedReading:
    """The words are right; so a doubt about them is gone, and the limits that came with them
    hold."""
    if reading.verdict != "unsure":
        return as_checked(job.record, reading)
    return job.judged(reading, reading)


def _accepted_reason(reading: Reading, judged: CheckedReading) -> str:
    """As it was, unless the verdict is another; an earlier correction stays told."""
    if judged.verdict == reading.verdict:
        return reading.reason
    earlier = _CORRECTED.match(reading.reason)
    return f"{earlier[1] if earlier else ''}{judged.reason}"


def _correct(job: _Job) -> Corrected:
    if job.correction.group == "meter":
        return _correct_meter(job)
    before: Reading = job.item
    after = changed(before, job.correction.changes)
    said = _differences(before, after)
    if not said:
        raise CorrectionError("Nothing was changed. To keep the reading as it is, accept it.")
    judged = job.judged(after, before)
    reason = f"Corrected by {job.who}: {said}; heard “{before.heard}”. {judged.reason}"
    after = _with_verdict(after, judged, reason)
    what = f"corrected {described(before)}: {said}; heard “{before.heard}”"
    return Corrected(_with_reading(job, after, judged), what)


def _correct_meter(job: _Job) -> Corrected:
    meter, changes = job.item, job.correction.changes
    unit = changes.get("unit", meter.unit)
    if unit not in METER_UNITS:
        raise CorrectionError(f"A meter counts in {', '.join(METER_UNITS)}, not in {unit!r}.")
    update = {"value": number_typed(changes.get("value", meter.value)), "unit": unit}
    after = meter.model_copy(update=update | {"ucum": unit_named(unit).ucum})
    if after == meter:
        raise CorrectionError("Nothing was changed.")
    what = f"corrected the meter: {_amount(meter)} to {_amount(after)}; heard “{meter.heard}”"
    return Corrected(job.record.model_copy(update={"meter": after}), what)


def _set_aside(job: _Job) -> Corrected:
    """A number that is no reading; the words stay, with why they do not count."""
    item, why = job.item, job.correction.why
    if why not in WHYS:
        raise CorrectionError(f"Say why it is set aside: one of {', '.join(WHYS)}.")
    aside = SetAside(heard=item.heard, words=item.words, why=why)
    placed = sorted((*job.record.set_aside, aside), key=lambda one: one.words)
    name = described(item) if isinstance(item, Reading) else "what was not sure"
    what = f"set aside {name} ({why.replace('_', ' ')}); heard “{item.heard}”"
    left = _without(job)
    return Corrected(left.model_copy(update={"set_aside": tuple(placed)}), what)


def _read(job: _Job) -> Corrected:
    """Words that were unsure, or set aside, become a reading."""
    item, blank = job.item, blank_reading(job.record, job.item)
    after = changed(blank, {"component": "", "role": "measured", **job.correction.changes})
    judged = job.judged(after, None)
    reason = f"Entered by {job.who} for “{item.heard}”. {judged.reason}"
    after, left = _with_verdict(after, judged, reason), _without(job)
    place = sum(reading.words <= after.words for reading in left.readings)
    readings = (*left.readings[:place], after, *left.readings[place:])
    what = f"entered {described(after)}, {_amount(after)}, for “{item.heard}”"
    made = left.model_copy(update={"readings": readings})
    return Corrected(_settled(job, made, after, {place: judged}), what)


def _dismiss(job: _Job) -> Corrected:
    what = f"dismissed “{job.item.heard}” ({job.item.why})"
    return Corrected(_without(job), what)


def _strike(job: _Job) -> Corrected:
    name = job.correction.group.replace("_", " ")
    what = f"struck out of {name}: “{job.item.heard}”"
    if job.correction.group == "meter":
        return Corrected(job.record.model_copy(update={"meter": None}), what)
    return Corrected(_without(job), what)


_LISTS = ("actions", "parts", "findings", "follow_ups")
# What can be done, to which groups of a record.
KINDS: dict[str, tuple[tuple[str, ...], Callable[[_Job], Corrected]]] = {
    "accept": (("readings",), _accept),
    "correct": (("readings", "meter"), _correct),
    "set_aside": (("readings", "unsure"), _set_aside),
    "read": (("unsure", "set_aside"), _read),
    "dismiss": (("unsure",), _dismiss),
    "strike": ((*_LISTS, "meter"), _strike),
}


# ---- the record around it ------------------------------------------------------------------------


def _with_reading(job: _Job, after: Reading, judged: CheckedReading) -> ServiceRecord:
    readings = list(job.record.readings)
    readings[job.index] = after
    made = job.record.model_copy(update={"readings": tuple(readings)})
    return _settled(job, made, after, {job.index: judged})


def _without(job: _Job) -> ServiceRecord:
    """The record without the item, and without the question about it."""
    group = job.correction.group
    items = getattr(job.record, group)
    made = job.record.model_copy(update={group: (*items[: job.index], *items[job.index + 1 :])})
    return _settled(job, made, job.item, {}) if group == "readings" else made


def _settled(
    job: _Job, made: ServiceRecord, reading: Reading, judged: Mapping[int, CheckedReading]
) -> ServiceRecord:
    """The record with what is left to ask, and the flags, now that somebody has looked at a
    reading; ``judged`` has its verdict at its place, or is empty if it is gone."""
    verdict = next(iter(judged.values()), None)
    made = made.model_copy(update={"unsure": still_unsure(made, reading, verdict)})
    return flagged(job.record, made, judged, sheet=job.sheet)


def _with_verdict(reading: Reading, judged: CheckedReading, reason: str) -> Reading:
    """Judged, and looked at by a person, so that nothing of it is presumed."""
    band = band_ref(judged.band) if judged.band else None
    update = {"verdict": judged.verdict, "band": band, "reason": reason, "presumed": ()}
    return reading.model_copy(update=update)


# ---- words ---------------------------------------------------------------------------------------


def _amount(item: Any) -> str:
    return f"{item.value} {item.unit}" if item.unit else item.value


def _differences(before: Reading, after: Reading) -> str:
    """ "value 6 to 6.5, role measured to as left"."""
    texts = (
        f"{name} {_shown(getattr(before, name))} to {_shown(getattr(after, name))}"
        for name in FIELDS
        if getattr(before, name) != getattr(after, name)
    )
    return ", ".join(texts)


def _shown(value: str | None) -> str:
    return "none" if value is None else value.replace("_", " ")
