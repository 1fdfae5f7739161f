"""Step 8: a ServiceRecord and one correction by a person -> the corrected ServiceRecord.

Nothing is changed in place and nothing is forgotten: the words heard stay with every item, the
reason says who corrected what, and the caller keeps the old record as the revision before. Verdicts
and flags are judged again by ``check``; this module does no arithmetic of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, get_args

from talklog import notes
from talklog.bands import Band, BandSheet, plain_words
from talklog.check import check, judge_by
from talklog.errors import CorrectionError, RecordError, UnitError
from talklog.new_record import band_ref, unit_fields
from talklog.record import (
    BandRef,
    Flag,
    Reading,
    Role,
    ServiceRecord,
    SetAside,
    Unsure,
    Why,
    load_record,
    to_json,
)
from talklog.units import load_units, quantity_names, unit_named
from talklog.verdicts.flags import flags_of
from talklog.verdicts.kinds import CheckedReading
from talklog.verdicts.outcomes import limits_of

ROLES: tuple[str, ...] = get_args(Role)
WHYS: tuple[str, ...] = get_args(Why)
METER_UNITS = ("mi", "km", "h")
LONGEST_NAME, LONGEST_VALUE = 80, 20  # characters
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
# A reading that a person has looked at says so first in its reason.
_LOOKED_AT = ("Accepted by ", "Corrected by ", "Entered by ")
_CORRECTED = re.compile(r"(?:Accepted by .*?\. )?(Corrected by .*?; heard “[^”]*”\. )")
_PLACE = ("component", "quantity")  # another one of these is another thing, with other limits


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
    who = _text(correction.who, "your name")
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
    update = {"verdict": judged.verdict, "band": _kept(judged), "reason": reason}
    after = reading.model_copy(update=update)
    what = f"accepted {_name(reading)}, {_amount(reading)}, as heard: “{reading.heard}”"
    return Corrected(_with_reading(job, after, judged), what)


def _accepted(job: _Job, reading: Reading) -> CheckedReading:
    """The words are right; so a doubt about them is gone, and the limits that came with them
    hold."""
    if reading.verdict != "unsure":
        return _as_checked(job.record, reading)
    return _judged(job, reading, reading)


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
    after = _changed(before, job.correction.changes)
    said = _differences(before, after)
    if not said:
        raise CorrectionError("Nothing was changed. To keep the reading as it is, accept it.")
    judged = _judged(job, after, before)
    after = after.model_copy(
        update={
            "verdict": judged.verdict,
            "band": _kept(judged),
            "reason": f"Corrected by {job.who}: {said}; heard “{before.heard}”. {judged.reason}",
        }
    )
    what = f"corrected {_name(before)}: {said}; heard “{before.heard}”"
    return Corrected(_with_reading(job, after, judged), what)


def _correct_meter(job: _Job) -> Corrected:
    meter, changes = job.item, job.correction.changes
    unit = changes.get("unit", meter.unit)
    if unit not in METER_UNITS:
        raise CorrectionError(f"A meter counts in {', '.join(METER_UNITS)}, not in {unit!r}.")
    update = {"value": _number(changes.get("value", meter.value)), "unit": unit}
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
    name = _name(item) if isinstance(item, Reading) else "what was not sure"
    what = f"set aside {name} ({why.replace('_', ' ')}); heard “{item.heard}”"
    left = _without(job)
    return Corrected(left.model_copy(update={"set_aside": tuple(placed)}), what)


def _read(job: _Job) -> Corrected:
    """Words that were unsure, or set aside, become a reading."""
    item, record = job.item, job.record
    blank = _blank_reading(record, item)
    after = _changed(blank, {"component": "", "role": "measured", **job.correction.changes})
    judged = _judged(job, after, None)
    reason = f"Entered by {job.who} for “{item.heard}”. {judged.reason}"
    after = after.model_copy(
        update={"verdict": judged.verdict, "band": _kept(judged), "reason": reason}
    )
    left = _without(job)
    place = sum(reading.words <= after.words for reading in left.readings)
    readings = (*left.readings[:place], after, *left.readings[place:])
    what = f"entered {_name(after)}, {_amount(after)}, for “{item.heard}”"
    made = left.model_copy(update={"readings": readings})
    made = made.model_copy(update={"unsure": _still_unsure(made, after, judged)})
    return Corrected(_flagged(job, made, {place: judged}), what)


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


# ---- fields as typed -----------------------------------------------------------------------------


def _changed(reading: Reading, changes: Mapping[str, str]) -> Reading:
    """The reading with other fields; what follows from value and unit is worked out again."""
    unknown = set(changes) - set(_RULES)
    if unknown:
        raise CorrectionError(f"A reading has no {', '.join(sorted(unknown))}.")
    made = reading.model_copy(update={name: _RULES[name](text) for name, text in changes.items()})
    if not _same(reading, made, ("unit", "quantity")):
        _check_kinship(made)
    try:
        return made.model_copy(update=unit_fields(_plain(made)))
    except UnitError as error:
        raise CorrectionError(str(error)) from error


def _check_kinship(reading: Reading) -> None:
    """A torque in millimetres is a slip of the hand."""
    if reading.unit is None or reading.quantity in unit_named(reading.unit).quantities:
        return
    fitting = [u.name for u in load_units().values() if reading.quantity in u.quantities]
    wanted = f"units for it are {', '.join(fitting)}" if fitting else "it has no unit"
    raise CorrectionError(f"{reading.unit} does not measure {reading.quantity}; {wanted}.")


def _number(text: str) -> str:
    """A decimal as it is kept: ".25" is "0.25". Commas are refused, for they mean two things."""
    plain = text.strip().replace("−", "-")
    plain = re.sub(r"^(-?)\.", r"\g<1>0.", plain.removeprefix("+"))
    if "," in plain:
        raise CorrectionError(f"{text!r}: write the value with a point and without commas.")
    if len(plain) > LONGEST_VALUE or not _NUMBER.fullmatch(plain):
        raise CorrectionError(f"{text!r} is no value; write a number such as 0.25.")
    return plain


def _unit(text: str) -> str | None:
    name = text.strip()
    if not name:
        return None
    if name not in load_units():
        raise CorrectionError(f"{name!r} is no unit that talklog knows; choose one of the list.")
    return name


def _text(text: str, what: str) -> str:
    """One line of plain text, blanks squeezed."""
    squeezed = " ".join(text.split())
    if len(squeezed) > LONGEST_NAME:
        raise CorrectionError(f"{what}: {LONGEST_NAME} letters at most.")
    if not squeezed.isprintable():
        raise CorrectionError(f"{what}: holds signs that cannot be printed.")
    return squeezed


def _one_of(known: Iterable[str], what: str) -> Callable[[str], str]:
    def rule(text: str) -> str:
        names = tuple(known)
        if text not in names:
            raise CorrectionError(f"{text!r} is no {what}; known are {', '.join(names)}.")
        return text

    return rule


_RULES: dict[str, Callable[[str], str | None]] = {
    "value": _number,
    "unit": _unit,
    "quantity": lambda text: _one_of(quantity_names(), "quantity")(text),
    "component": lambda text: _text(text, "component") or notes.NOT_SAID,
    "position": lambda text: _text(text, "position") or None,
    "condition": lambda text: _text(text, "condition") or None,
    "role": _one_of(ROLES, "role"),
}


def _blank_reading(record: ServiceRecord, item: Any) -> Reading:
    """A reading of the words of another item; value and quantity must still be given."""
    first, last = item.words
    words = record.words[first : last + 1]
    sure = [word.confidence for word in words if word.confidence is not None]
    blank = dict.fromkeys(Reading.model_fields)
    return Reading.model_construct(
        **blank
        | {"heard": item.heard, "words": item.words, "value": "", "quantity": ""}
        | {"start": words[0].start, "end": words[-1].end}
        | {"confidence": min(sure) if sure else None}
    )


# ---- verdicts ------------------------------------------------------------------------------------


def _judged(job: _Job, after: Reading, before: Reading | None) -> CheckedReading:
    """By the band the reading carries, as long as it is a reading of the same thing; else by the
    sheet; and without one it is not judged, and says so."""
    plain = _plain(after)
    carried = _band(job.record, before) if before else None
    if carried and before and _same(before, after, _PLACE):
        judged = judge_by(plain, carried)
        return _told(judged, _moved(before, after))
    if job.sheet is not None:
        return check(notes.Notes(readings=(plain,)), job.sheet).readings[0]
    if carried:
        return _doubtful(plain, judge_by(plain, carried), before)
    if job.record.machine is None:
        return judge_by(plain, None)
    if before and before.verdict == "unsure":
        return CheckedReading(plain, "unsure", None, before.reason)
    return CheckedReading(plain, "no_band", None, "Not judged: the band sheet is not at hand.")


def _moved(before: Reading, after: Reading) -> str:
    """What to say when the limits were those of another place of the same thing."""
    if _same(before, after, ("position", "condition")):
        return ""
    old = " ".join(filter(None, (before.position, before.condition))) or "no place in particular"
    return f"The limits are those it was heard with, for {old}."


def _doubtful(plain: notes.Reading, by_old: CheckedReading, before: Reading) -> CheckedReading:
    """Another thing than the one the limits were for."""
    band = by_old.band
    text = (
        f"The limits it was heard with, {limits_of(band)} ({band.source}), were for "
        f"{before.component}: {before.quantity}; accept it if they hold. By them: {by_old.reason}"
    )
    return CheckedReading(plain, "unsure", band, text)


def _told(judged: CheckedReading, more: str) -> CheckedReading:
    text = f"{judged.reason} {more}".strip()
    return CheckedReading(judged.reading, judged.verdict, judged.band, text)


def _same(one: Reading, other: Reading, names: Iterable[str]) -> bool:
    return all(getattr(one, name) == getattr(other, name) for name in names)


def _plain(reading: Reading) -> notes.Reading:
    """A reading of the record as ``check`` takes it, without doubt: a person has looked."""
    if not reading.value or not reading.quantity:
        raise CorrectionError("A reading needs a value and what was measured.")
    return notes.Reading(
        quantity=reading.quantity,
        component=reading.component,
        position=reading.position,
        condition=reading.condition,
        value=Decimal(reading.value),
        said=reading.value,
        unit=reading.unit,
        role=reading.role,
        first=reading.words[0],
        last=reading.words[1],
        reason="",
    )


def _band(record: ServiceRecord, reading: Reading) -> Band | None:
    """The band of a record as ``check`` takes it. Its caution stands among those of the record."""
    kept = reading.band
    if kept is None:
        return None
    limits = {
        name: None if limit is None else Decimal(limit)
        for name, limit in (("low", kept.low), ("high", kept.high))
    }
    return Band(
        quantity=reading.quantity,
        component=reading.component,
        source=kept.source,
        unit=kept.unit,
        condition=kept.condition,
        caution=_caution(record, reading.component),
        critical=kept.critical,
        authority=kept.authority,
        high_open=kept.high_open,
        **limits,
    )


def _caution(record: ServiceRecord, component: str) -> str | None:
    """The line of a band sheet for a component, which a record keeps as "component: line"."""
    said = plain_words(component)
    for caution in record.cautions:
        head, colon, line = caution.text.partition(": ")
        name = plain_words(head)
        if caution.origin == "talklog" and colon and name and said[-len(name) :] == name:
            return line
    return None


def _kept(judged: CheckedReading) -> BandRef | None:
    return band_ref(judged.band) if judged.band else None


def _as_checked(record: ServiceRecord, reading: Reading) -> CheckedReading:
    """A reading of the record with its verdict as it stands."""
    band = _band(record, reading)
    return CheckedReading(_plain(reading), reading.verdict, band, reading.reason)


# ---- the record around it ------------------------------------------------------------------------


def _with_reading(job: _Job, after: Reading, judged: CheckedReading) -> ServiceRecord:
    readings = list(job.record.readings)
    readings[job.index] = after
    made = job.record.model_copy(update={"readings": tuple(readings)})
    made = made.model_copy(update={"unsure": _still_unsure(made, after, judged)})
    return _flagged(job, made, {job.index: judged})


def _without(job: _Job) -> ServiceRecord:
    """The record without the item, and without the question about it."""
    group = job.correction.group
    items = getattr(job.record, group)
    made = job.record.model_copy(update={group: (*items[: job.index], *items[job.index + 1 :])})
    if group != "readings":
        return made
    made = made.model_copy(update={"unsure": _still_unsure(made, job.item, None)})
    return _flagged(job, made, {})


def _still_unsure(
    record: ServiceRecord, reading: Reading, judged: CheckedReading | None
) -> tuple[Unsure, ...]:
    """What is left to ask once somebody has looked at a reading: nothing about its words, unless
    another reading of the same words, or a new verdict on it, is unsure."""
    asking = [
        one.words for one in record.readings if one.verdict == "unsure" and one is not reading
    ]
    left = [
        one
        for one in record.unsure
        if not _overlap(one.words, reading.words)
        or any(_overlap(one.words, words) for words in asking)
    ]
    if judged is not None and judged.verdict == "unsure":
        left.append(Unsure(heard=reading.heard, words=reading.words, why=judged.reason))
    return tuple(sorted(left, key=lambda one: one.words))


def _overlap(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _flagged(job: _Job, made: ServiceRecord, judged: Mapping[int, CheckedReading]) -> ServiceRecord:
    """Flags worked out anew. Those about readings that did not change stay word for word; what a
    sheet expects is looked at again only if the sheet is there."""
    old = job.record
    checked = [
        judged.get(place) or _as_checked(made, reading)
        for place, reading in enumerate(made.readings)
    ]
    expects = job.sheet.expects if job.sheet else ()
    fresh = [_as_before(flag, old.flags) for flag in flags_of(checked, expects)]
    if job.sheet is None:
        fresh += [f for f in old.flags if not any(_speaks_of(f, r) for r in old.readings)]
    levels = ("stop", "look", "note")
    return made.model_copy(
        update={"flags": tuple(sorted(fresh, key=lambda flag: levels.index(flag.level)))}
    )


def _as_before(flag: Any, old: Iterable[Flag]) -> Flag:
    """The flag as it was worded, if it was there: a record's reasons hold more than a flag says."""
    made = Flag(level=flag.level, about=flag.about, text=flag.text)
    same = (one for one in old if (one.level, one.about) == (made.level, made.about))
    return next((one for one in same if made.text.endswith(one.text)), made)


def _speaks_of(flag: Flag, reading: Reading) -> bool:
    """Is the flag about this reading? Its text starts with the last sentences of the reason."""
    if flag.about != _name(reading):
        return False
    ends = (match.end() for match in re.finditer(r"[.?!:”] ", reading.reason))
    return any(flag.text.startswith(reading.reason[start:]) for start in (0, *ends))


# ---- words ---------------------------------------------------------------------------------------


def _name(reading: Reading) -> str:
    """ "inlet valve, cylinder 2: clearance", as flags name it."""
    named = (reading.component, reading.position, reading.condition)
    return f"{', '.join(filter(None, named))}: {reading.quantity}"


def _amount(item: Any) -> str:
    return f"{item.value} {item.unit}" if item.unit else item.value


def _differences(before: Reading, after: Reading) -> str:
    """ "value 6 to 6.5, role measured to as left"."""
    texts = (
        f"{name} {_shown(getattr(before, name))} to {_shown(getattr(after, name))}"
        for name in _RULES
        if getattr(before, name) != getattr(after, name)
    )
    return ", ".join(texts)


def _shown(value: str | None) -> str:
    return "none" if value is None else value.replace("_", " ")
