"""A reading and a sheet, or a band -> its verdict.

A verdict is given only when it holds for every way the reading may be meant; otherwise it is
``unsure`` and the reason says what it would be each way. No value is ever changed.
"""

from __future__ import annotations

from dataclasses import replace

from talklog.bands import Band, BandSheet
from talklog.notes import Reading
from talklog.verdicts.kinds import OUT, CheckedReading
from talklog.verdicts.meant_bands import Match, how_named, meant_bands
from talklog.verdicts.outcomes import Outcome, comparable, outcome_of


def judge_by(reading: Reading, band: Band | None) -> CheckedReading:
    """A reading that is certain, judged by the one band that is known to be right for it.

    "inlet gap nought point two five", whose band of 0.20 to 0.30 mm is known: ``in_band``. Without
    a band: ``no_band``.
    """
    if band is None:
        return CheckedReading(reading, "no_band", None, "No limits came with it.")
    outcome = outcome_of(reading.value, reading.unit, band)
    return CheckedReading(reading, outcome.verdict, band, outcome.text)


def judge(reading: Reading, sheet: BandSheet | None) -> CheckedReading:
    """A reading as it was understood, judged by the bands of the sheet that are meant.

    "inlet gap nought point four", 0.20 to 0.30 mm: ``high``. Without a sheet: ``no_band``.
    """
    matches, why = ([], "There is no band sheet.") if sheet is None else meant_bands(reading, sheet)
    matches = _of_one_kind(reading, matches)
    if not matches:
        doubt = f"{sentence(reading.doubt)}{_or_else(reading)} {why}" if reading.doubt else why
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


def _of_one_kind(reading: Reading, matches: list[Match]) -> list[Match]:
    """Bands in units of another kind count only where no band fits the unit said."""
    fitting = [m for m in matches if reading.unit and comparable(reading.unit, m.band)]
    return fitting or matches


def _by_matches(reading: Reading, matches: list[Match], why: str) -> CheckedReading:
    outcomes = [outcome_of(reading.value, reading.unit, match.band) for match in matches]
    lead = _open_points(matches)
    if len({outcome.verdict for outcome in outcomes}) > 1 or _too_vague(matches):
        texts = [f"{case_of(m.band)}: {o.text}" for m, o in zip(matches, outcomes, strict=True)]
        lead = lead or "Several bands could be meant."
        return CheckedReading(reading, "unsure", None, f"{lead} {' '.join(texts)}")
    band = matches[0].band
    alike = _inside_by_ear(reading, outcomes[0], band)
    verdict = "unsure" if alike else outcomes[0].verdict
    said = [why, *_general(reading, band), lead, outcomes[0].text, alike]
    return CheckedReading(reading, verdict, band, " ".join(filter(None, said)))


def _inside_by_ear(reading: Reading, outcome: Outcome, band: Band) -> str:
    """A value out of band that was heard less than surely, and sounds like one in band."""
    if outcome.verdict not in OUT:
        return ""
    for other in reading.sounds_like:
        if outcome_of(other.value, other.unit, band).verdict == "in_band":
            shown = f"{other.value:f} {other.unit or ''}".strip()
            return f"But {shown} sounds like it and would be in band: listen again."
    return ""


def _open_points(matches: list[Match]) -> str:
    return " ".join(dict.fromkeys(text for match in matches for text in match.open.values()))


def _too_vague(matches: list[Match]) -> bool:
    """A component that was not said is never guessed, nor a position when the sheet knows only
    one. A condition is: the reason tells."""
    if any("component" in match.open for match in matches):
        return True
    places = {match.band.position for match in matches}
    return len(places) == 1 and any("position" in match.open for match in matches)


def case_of(band: Band) -> str:
    """ "Inlet valve, cold, by maker": what tells one band from the next."""
    named = [band.component, band.position, band.condition, band.authority]
    return ", ".join(part for part in named if part)


def _general(reading: Reading, band: Band) -> list[str]:
    """What the reader must know about a band that is not quite for these words."""
    notes = []
    if band.quantity != reading.quantity:
        notes.append(f"Said as {reading.quantity}, judged by the band for {band.quantity}.")
    if how_named(reading, band) == "generally":
        notes.append(f"Judged by the band for any {band.component}.")
    if band.authority:
        notes.append(f"Authority: {band.authority}.")
    return notes


# ---- readings that may be two things -------------------------------------------------------------


def _settled(reading: Reading, matches: list[Match]) -> tuple[Reading, str] | None:
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
    ways = {u: {outcome_of(reading.value, u, m.band).verdict for m in matches} for u in units}
    fits = ways[unit] == {"in_band"} and all(v != ways[unit] for u, v in ways.items() if u != unit)
    out = all(v == ways[unit] and v in ({"low"}, {"high"}) for v in ways.values())
    if not (fits or out):
        return None
    names = " or ".join(str(u) for u in dict.fromkeys(units))
    why = f"Could be {names}; taken as {unit}, the unit of the band."
    return replace(reading, unit=unit, doubt=None), why


def _each_way(reading: Reading, matches: list[Match]) -> str:
    """The doubt, and the verdict of every way the words could be meant."""
    ways = [(reading.value, reading.unit), *((a.value, a.unit) for a in reading.alternatives)]
    texts = [outcome_of(value, unit, match.band).text for value, unit in ways for match in matches]
    lead = [sentence(reading.doubt or ""), _open_points(matches)]
    return " ".join(filter(None, [*lead, *dict.fromkeys(texts)]))


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = text.strip()
    return text and f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.?!' else '.'}"
