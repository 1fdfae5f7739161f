"""Step 6: readings and the machine's bands -> verdicts. Knows nothing of how words were heard.

A verdict is given only when it holds for every way the reading may be meant; otherwise it is
``unsure`` and the reason says what it would be each way. No value is ever changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from talklog.bands import Band, BandSheet, Expect, Machine, plain_words
from talklog.notes import NOT_SAID, Meant, Notes, Reading
from talklog.numbers import find_numbers
from talklog.transcript import Word
from talklog.units import convert, same_kind

TOLERANCE = Decimal("1e-9")  # relative; so that 0.254 mm is exactly 0.010 inch
OUT = ("low", "high")
FINAL_ROLES = ("as_left", "set")
# How probable something else must be that was measured, to be asked about where it would be out.
WHOLE = ("set", "unit", "machine")  # words that are part of the name of any machine
MAY_BE = {"no_band": 0.002, "in_band": 0.2}


@dataclass(frozen=True, slots=True)
class CheckedReading:
    """A reading with its verdict: in_band, low, high, no_band, unsure or unit_mismatch.

    ``band`` is the one it was judged by, ``None`` when there is none or several disagree.
    ``reason`` is one or more plain sentences. ``reading`` is as it came in, except that a unit
    which could be two things may have been settled by the band; the reason then says so.
    """

    reading: Reading
    verdict: str
    band: Band | None
    reason: str


@dataclass(frozen=True, slots=True)
class Flag:
    """Something to look at. ``level`` is stop, look or note; ``about`` names the reading or what
    was not heard; ``reading`` is its index in ``Checked.readings``, ``None`` if there is none."""

    level: str
    about: str
    text: str
    reading: int | None = None


@dataclass(frozen=True, slots=True)
class Checked:
    """Readings in the order of the note, flags most serious first."""

    readings: tuple[CheckedReading, ...] = ()
    flags: tuple[Flag, ...] = ()


def check(notes: Notes, sheet: BandSheet | None) -> Checked:
    """Judge every reading by the sheet, and find what the sheet expects and nobody said.

    "inlet gap nought point four" against 0.20 to 0.30 mm: ``high``, with a flag of level look.
    Without a sheet every certain reading has the verdict ``no_band``.
    """
    readings = tuple(_judged_safely(reading, sheet) for reading in notes.readings)
    return Checked(readings, flags_of(readings, sheet.expects if sheet else ()))


def judge_by(reading: Reading, band: Band | None) -> CheckedReading:
    """A reading that is certain, judged by the one band that is known to be right for it.

    "inlet gap nought point two five", whose band of 0.20 to 0.30 mm is known: ``in_band``. Without
    a band: ``no_band``.
    """
    if band is None:
        return CheckedReading(reading, "no_band", None, "No limits came with it.")
    outcome = _outcome(reading.value, reading.unit, band)
    return CheckedReading(reading, outcome.verdict, band, outcome.text)


def flags_of(
    readings: Sequence[CheckedReading], expects: Iterable[Expect] = ()
) -> tuple[Flag, ...]:
    """What to look at in readings that have been judged, and what was expected and not said; most
    serious first."""
    flags = [flag for place in range(len(readings)) for flag in _flags_of(readings, place)]
    flags += [flag for expect in expects for flag in _not_heard(expect, readings)]
    return tuple(sorted(flags, key=lambda flag: _LEVELS.index(flag.level)))


_LEVELS = ("stop", "look", "note")

# ---- which bands are meant -----------------------------------------------------------------------

# Names that people use for the same measurement (common practice, no source). A band under one
# name judges a reading under the other, and the reason says so.
_SAME_MEASUREMENT = (
    frozenset({"clearance", "gap"}),
    frozenset({"play", "backlash"}),
    frozenset({"level", "depth"}),
    frozenset({"angle", "turns"}),
    frozenset({"angle", "play"}),
    frozenset({"sag", "deflection"}),
    frozenset({"mass", "load", "tension"}),  # grams on a spring balance
    frozenset({"percentage", "elongation"}),
    frozenset({"percentage", "concentration"}),
    frozenset({"percentage", "sag"}),
)


@dataclass(frozen=True, slots=True)
class _Match:
    """A band that may be meant. ``open`` holds what the reading left open ("component",
    "position", "condition") with the sentence that says so."""

    band: Band
    open: dict[str, str]
    detail: int = 0  # how many words of position and condition agree


def _matches(reading: Reading, sheet: BandSheet) -> tuple[list[_Match], str]:
    """The bands that may judge a reading, and, when there are none, why not."""
    named = [(band, _named(reading, band)) for band in _of_quantity(reading, sheet.bands)]
    for level in ("exactly", "generally", "vaguely"):
        near = [band for band, how in named if how == level]
        found = [match for band in near if (match := _placed(reading, band, level)) is not None]
        if found:
            return _most_detailed(_counting(found, sheet.machine.authority)), ""
        if near:
            return [], _other_cases(near)
    return [], f"The sheet has no band for {_what(reading)}."


def _of_quantity(reading: Reading, bands: Sequence[Band]) -> list[Band]:
    exact = [band for band in bands if band.quantity == reading.quantity]
    kin = [band for band in bands if _same_measurement(band.quantity, reading.quantity)]
    near = [band for band in kin if reading.unit and _comparable(reading.unit, band)]
    components = {_joined(band.component) for band in exact}
    return exact + [band for band in near if _joined(band.component) not in components]


def _same_measurement(one: str, other: str) -> bool:
    return one != other and any({one, other} <= group for group in _SAME_MEASUREMENT)


def _named(reading: Reading, band: Band) -> str:
    """How the component said names the band's: "exactly", "generally" (a band for "nut" and a
    "wheel nut" said), "vaguely" (the other way, or not said), or "" when it does not."""
    if reading.component == NOT_SAID:
        return "vaguely"
    said = plain_words(reading.component)
    names = [plain_words(name) for name in (band.component, *band.also)]
    if "".join(said) in ("".join(name) for name in names):
        return "exactly"
    if any(name and said[-len(name) :] == name for name in names):
        return "generally"
    return "vaguely" if any(said and name[-len(said) :] == said for name in names) else ""


def _placed(reading: Reading, band: Band, named: str) -> _Match | None:
    """The band as a match, or ``None`` if its position or condition is another one."""
    still_open: dict[str, str] = {}
    if named == "vaguely":
        still_open["component"] = _vague_component(reading)
    detail = 0
    for name in ("position", "condition"):
        wanted, said = _label(getattr(band, name)), _label(getattr(reading, name))
        if wanted <= said:
            detail += len(wanted)
        elif said < wanted:
            still_open[name] = f"No {name} was said; the band is for {getattr(band, name)}."
        else:
            return None
    return _Match(band, still_open, detail)


def _vague_component(reading: Reading) -> str:
    if reading.component == NOT_SAID:
        return "No component was said."
    return f"Only {reading.component!r} was said."


def _label(text: str | None) -> frozenset[str]:
    """Words of a position or condition, any order, numbers as digits: "cylinder two" is {2}."""
    words = frozenset(_as_digits(word) for word in plain_words(text or ""))
    return words - {"cylinder", "number", "no", "the"}


def _as_digits(word: str) -> str:
    runs = find_numbers([Word(word)])
    return str(runs[0].readings[0][0].value) if runs else word


def _most_detailed(found: list[_Match]) -> list[_Match]:
    """Where some bands apply for sure, only those that say most about the case."""
    sure = [match for match in found if not match.open]
    if not sure:
        return found
    best = max(match.detail for match in sure)
    return [match for match in sure if match.detail == best]


def _counting(found: list[_Match], authority: str | None) -> list[_Match]:
    """Without the authorities that do not count, if any that counts has spoken."""
    if authority is None:
        return found
    counting = [match for match in found if match.band.authority in (None, authority)]
    return counting or found


def _other_cases(bands: list[Band]) -> str:
    cases = [" ".join(filter(None, (band.condition, band.position))) for band in bands]
    return f"The sheet has bands only for other cases: {', '.join(dict.fromkeys(cases))}."


# ---- verdicts ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Outcome:
    verdict: str
    text: str


def _judged_safely(reading: Reading, sheet: BandSheet | None) -> CheckedReading:
    """As ``_judged``; but what may be of something else, and out of its band then, is asked
    about."""
    own = _judged(reading, sheet)
    least = MAY_BE.get(own.verdict)
    if sheet is None or least is None:
        return own
    alternatives = reading.may_be
    if own.verdict == "no_band" and _is_whole_machine(reading.component, sheet.machine):
        alternatives = (*alternatives, *_only_one(reading.quantity, sheet))
    for other in alternatives:
        meant = replace(reading, quantity=other.quantity, component=other.component)
        found = _judged(meant, sheet) if other.chance >= least else own
        if found.verdict in OUT:
            what = f"It may be {_what(meant)}. Then: {found.reason}"
            return CheckedReading(reading, "unsure", None, f"{own.reason} {what}")
    return own


def _is_whole_machine(component: str, machine: Machine) -> bool:
    """ "generator set" where the sheet is that of the "Standby generator"."""
    own = {*f"{machine.name} {machine.kind}".lower().split(), *WHOLE}
    return set(component.split()) <= own


def _only_one(quantity: str, sheet: BandSheet) -> tuple[Meant, ...]:
    """The one thing of which the sheet limits that quantity: it may be meant where the whole
    machine was named."""
    things = {band.component for band in sheet.bands if band.quantity == quantity}
    return tuple(Meant(quantity, thing, 1.0) for thing in things) if len(things) == 1 else ()


def _judged(reading: Reading, sheet: BandSheet | None) -> CheckedReading:
    matches, why = ([], "There is no band sheet.") if sheet is None else _matches(reading, sheet)
    matches = _of_one_kind(reading, matches)
    if not matches:
        doubt = f"{_sentence(reading.doubt)}{_or_else(reading)} {why}" if reading.doubt else why
        return CheckedReading(reading, "unsure" if reading.doubt else "no_band", None, doubt)
    settled = _settled(reading, matches)
    if settled is not None:
        reading, why = settled
    band = matches[0].band if len(matches) == 1 else None
    if reading.doubt:
        return CheckedReading(reading, "unsure", band, _each_way(reading, matches))
    return _by_matches(reading, matches, why)


def _or_else(reading: Reading) -> str:
    """ " It may be 30 thou or 13.5 thou.": what it may have been by ear, where there is no band."""
    heard = [other for other in reading.sounds_like if other in reading.alternatives]
    ways = [f"{other.said} {other.unit or ''}".strip() for other in heard]
    return f" It may be {' or '.join(dict.fromkeys(ways))}." if ways else ""


def _of_one_kind(reading: Reading, matches: list[_Match]) -> list[_Match]:
    """Bands in units of another kind count only where no band fits the unit said."""
    fitting = [m for m in matches if reading.unit and _comparable(reading.unit, m.band)]
    return fitting or matches


def _by_matches(reading: Reading, matches: list[_Match], why: str) -> CheckedReading:
    outcomes = [_outcome(reading.value, reading.unit, match.band) for match in matches]
    lead = _open_points(matches)
    if len({outcome.verdict for outcome in outcomes}) > 1 or _too_vague(matches):
        texts = [f"{_case_of(m.band)}: {o.text}" for m, o in zip(matches, outcomes, strict=True)]
        lead = lead or "Several bands could be meant."
        return CheckedReading(reading, "unsure", None, f"{lead} {' '.join(texts)}")
    band = matches[0].band
    alike = _inside_by_ear(reading, outcomes[0], band)
    verdict = "unsure" if alike else outcomes[0].verdict
    said = [why, *_general(reading, band), lead, outcomes[0].text, alike]
    return CheckedReading(reading, verdict, band, " ".join(filter(None, said)))


def _inside_by_ear(reading: Reading, outcome: _Outcome, band: Band) -> str:
    """A value out of band that was heard less than surely, and sounds like one in band."""
    if outcome.verdict not in OUT:
        return ""
    for other in reading.sounds_like:
        if _outcome(other.value, other.unit, band).verdict == "in_band":
            shown = f"{other.value:f} {other.unit or ''}".strip()
            return f"But {shown} sounds like it and would be in band: listen again."
    return ""


def _open_points(matches: list[_Match]) -> str:
    return " ".join(dict.fromkeys(text for match in matches for text in match.open.values()))


def _too_vague(matches: list[_Match]) -> bool:
    """A component that was not said is never guessed, nor a position when the sheet knows only
    one. A condition is: the reason tells."""
    if any("component" in match.open for match in matches):
        return True
    places = {match.band.position for match in matches}
    return len(places) == 1 and any("position" in match.open for match in matches)


def _case_of(band: Band) -> str:
    """ "Inlet valve, cold, by maker": what tells one band from the next."""
    named = [band.component, band.position, band.condition, band.authority]
    return ", ".join(part for part in named if part)


def _general(reading: Reading, band: Band) -> list[str]:
    """What the reader must know about a band that is not quite for these words."""
    notes = []
    if band.quantity != reading.quantity:
        notes.append(f"Said as {reading.quantity}, judged by the band for {band.quantity}.")
    if _named(reading, band) == "generally":
        notes.append(f"Judged by the band for any {band.component}.")
    if band.authority:
        notes.append(f"Authority: {band.authority}.")
    return notes


def _outcome(value: Decimal, unit: str | None, band: Band) -> _Outcome:
    """The verdict on a value by one band, and the sentence that says so."""
    shown = f"{value:f} {unit}" if unit else f"{value:f}"
    if unit is None and band.unit is not None:
        bare = _outcome(value, band.unit, band)
        return _Outcome("unsure", f"No unit was said; if {band.unit} is meant: {bare.text}")
    if unit is not None and not _comparable(unit, band):
        wanted = band.unit or "a plain count"
        text = f"{shown} cannot be compared with a band in {wanted} ({band.source})."
        return _Outcome("unit_mismatch", text)
    inside = convert(value, unit, band.unit) if unit and band.unit else value
    verdict = _side(inside, band)
    equals = "" if unit == band.unit else f" = {_short(inside)} {band.unit}"
    words = {"in_band": "is within", "low": "is below", "high": "is above"}[verdict]
    text = f"{shown}{equals} {words} {limits_of(band)} ({band.source})."
    return _Outcome(verdict, f"{text}{_neighbour(inside, band, verdict)}")


def _side(value: Decimal, band: Band) -> str:
    """in_band, low or high; limits belong to the band, up to a relative hair."""
    if band.low is not None and value < band.low - abs(band.low) * TOLERANCE:
        return "low"
    if band.high is None:
        return "in_band"
    hair = abs(band.high) * TOLERANCE
    if band.high_open:
        return "high" if value >= band.high - hair else "in_band"
    return "high" if value > band.high + hair else "in_band"


# Factors by which a value is most often misheard, for which quantity ("" is any), how to say it.
_NEIGHBOURS = (
    ("torque", Decimal(12), "12 times as much (foot-pounds for inch-pounds?)"),
    ("torque", Decimal(1) / 12, "a twelfth of it (inch-pounds for foot-pounds?)"),
    ("", Decimal(10), "10 times as much"),
    ("", Decimal("0.1"), "a tenth of it"),
)


def _neighbour(value: Decimal, band: Band, verdict: str) -> str:
    """A hint when the value would fit but for a factor that is easily misheard. A band with one
    limit gives none: ten times as much is always "at least" enough."""
    if verdict not in OUT or not value or None in (band.low, band.high):
        return ""
    fits = [
        text
        for quantity, factor, text in _NEIGHBOURS
        if quantity in ("", band.quantity) and _side(value * factor, band) == "in_band"
    ]
    return f" But {' or '.join(fits)} would be in band: confirm before use." if fits else ""


def limits_of(band: Band) -> str:
    """The limits as text: "0.20 to 0.30 mm", "at least 1.6 mm", "9.3 to less than 12.5 cSt"."""
    unit = f" {band.unit}" if band.unit else ""
    high = f"less than {band.high:f}" if band.high_open else f"{band.high or 0:f}"
    if band.low is None:
        return f"{high}{unit}" if band.high_open else f"at most {high}{unit}"
    if band.high is None:
        return f"at least {band.low:f}{unit}"
    return f"{band.low:f} to {high}{unit}"


def _comparable(unit: str, band: Band) -> bool:
    return band.unit is not None and same_kind(unit, band.unit)


# ---- readings that may be two things -------------------------------------------------------------


def _settled(reading: Reading, matches: list[_Match]) -> tuple[Reading, str] | None:
    """A unit that may be two things ("mil"), settled by the unit of the band where that is safe:
    the value fits in the band's unit and in no other, or is out the same way in all."""
    others = reading.alternatives
    units = [reading.unit, *(other.unit for other in others)]
    bands = {match.band.unit for match in matches}
    if not others or any(other.value != reading.value for other in others) or len(bands) != 1:
        return None
    (unit,) = bands
    if unit not in units or any(match.open for match in matches):
        return None
    ways = {u: {_outcome(reading.value, u, m.band).verdict for m in matches} for u in units}
    fits = ways[unit] == {"in_band"} and all(v != ways[unit] for u, v in ways.items() if u != unit)
    out = all(v == ways[unit] and v in ({"low"}, {"high"}) for v in ways.values())
    if not (fits or out):
        return None
    names = " or ".join(str(u) for u in dict.fromkeys(units))
    why = f"Could be {names}; taken as {unit}, the unit of the band."
    return replace(reading, unit=unit, doubt=None), why


def _each_way(reading: Reading, matches: list[_Match]) -> str:
    """The doubt, and the verdict of every way the words could be meant."""
    ways = [(reading.value, reading.unit), *((a.value, a.unit) for a in reading.alternatives)]
    texts = [_outcome(value, unit, match.band).text for value, unit in ways for match in matches]
    lead = [_sentence(reading.doubt or ""), _open_points(matches)]
    return " ".join(filter(None, [*lead, *dict.fromkeys(texts)]))


# ---- flags ---------------------------------------------------------------------------------------


def _flags_of(readings: Sequence[CheckedReading], place: int) -> list[Flag]:
    checked = readings[place]
    about = _what(checked.reading)
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
    said = [_label(reading.position) for reading in heard]
    missing = [p for p in expect.positions if not any(_label(p) <= label for label in said)]
    if not missing:
        return []
    loose = sum(1 for label in said if not label)
    rest = f" {loose} heard without a position." if loose else ""
    return [Flag("look", about, f"Not heard for {', '.join(missing)}.{rest}")]


def _is_expected(reading: Reading, expect: Expect) -> bool:
    right = reading.quantity == expect.quantity
    right = right or _same_measurement(reading.quantity, expect.quantity)
    return right and _joined(reading.component) == _joined(expect.component)


# ---- words ---------------------------------------------------------------------------------------


def _joined(name: str) -> str:
    """A component name for comparing: "drive-belts", "drive belt" and "drivebelt" are one."""
    return "".join(plain_words(name))


def _what(reading: Reading) -> str:
    """ "inlet valve, cylinder 2: clearance"."""
    named = [reading.component, reading.position, reading.condition]
    return f"{', '.join(part for part in named if part)}: {reading.quantity}"


def _sentence(text: str) -> str:
    text = text.strip()
    return text and f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.?!' else '.'}"


def _short(value: Decimal) -> str:
    """At most 6 significant digits, for reading."""
    return f"{Decimal(f'{value:.6g}').normalize():f}"
