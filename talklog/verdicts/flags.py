"""Readings that have been judged, and what a sheet expects -> flags: what to look at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from talklog.bands import Expect
from talklog.notes import Reading
from talklog.verdicts.kinds import OUT, CheckedReading, Flag
from talklog.verdicts.names import described, label_words, same_measurement, same_thing

FINAL_ROLES = ("as_left", "set")
_LEVELS = ("stop", "look", "note")


def flags_of(
    readings: Sequence[CheckedReading], expects: Iterable[Expect] = ()
) -> tuple[Flag, ...]:
    """What to look at in readings that have been judged, and what was expected and not said; most
    serious first."""
    flags = [flag for place in range(len(readings)) for flag in _flags_of(readings, place)]
    flags += [flag for expect in expects for flag in _not_heard(expect, readings)]
    return tuple(sorted(flags, key=lambda flag: _LEVELS.index(flag.level)))


def _flags_of(readings: Sequence[CheckedReading], place: int) -> list[Flag]:
    checked = readings[place]
    about = described(checked.reading)
    if checked.verdict in ("unsure", "unit_mismatch"):
        return [Flag("look", about, checked.reason, place)]
    if checked.verdict not in OUT:
        return []
    band = checked.band
    caution = f" {band.caution}" if band and band.caution else ""
    put_right = _put_right(readings, place)
    late = f" Later {put_right}." if put_right else ""
    return [Flag(_level(checked, put_right), about, f"{checked.reason}{late}{caution}", place)]


def _level(checked: CheckedReading, put_right: str) -> str:
    if put_right:
        return "note"
    critical = checked.band is not None and checked.band.critical
    return "stop" if critical or checked.reading.role in FINAL_ROLES else "look"


def _put_right(readings: Sequence[CheckedReading], place: int) -> str:
    """How a finding was left, if it was left in band: "0.25 mm as left"; else nothing."""
    first = readings[place].reading
    if first.role in FINAL_ROLES:
        return ""
    for later in reversed(readings[place + 1 :]):
        if later.reading.role in FINAL_ROLES and _same_place(first, later.reading):
            role = later.reading.role.replace("_", " ")
            fine = later.verdict == "in_band"
            return f"{later.reading.said} {later.reading.unit or ''} {role}" if fine else ""
    return ""


def _same_place(one: Reading, other: Reading) -> bool:
    names = (one.quantity, one.component, one.position)
    return names == (other.quantity, other.component, other.position)


def _not_heard(expect: Expect, readings: Iterable[CheckedReading]) -> list[Flag]:
    """What the sheet expects of the note and nobody said."""
    heard = [c.reading for c in readings if _is_expected(c.reading, expect)]
    about = f"{expect.component}: {expect.quantity}"
    if expect.count is not None:
        places = {(r.position, 0 if r.position else r.first) for r in heard}
        if len(places) >= expect.count:
            return []
        return [Flag("look", about, f"{expect.count} expected, {len(places)} heard.")]
    said = [label_words(reading.position) for reading in heard]
    missing = [p for p in expect.positions if not any(label_words(p) <= label for label in said)]
    if not missing:
        return []
    loose = sum(1 for label in said if not label)
    rest = f" {loose} heard without a position." if loose else ""
    return [Flag("look", about, f"Not heard for {', '.join(missing)}.{rest}")]


def _is_expected(reading: Reading, expect: Expect) -> bool:
    right = reading.quantity == expect.quantity
    right = right or same_measurement(reading.quantity, expect.quantity)
    return right and same_thing(reading.component, expect.component)
