"""A reading and a sheet -> the bands that may judge it, and what the reading left open of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from talklog.bands import Band, BandSheet
from talklog.notes import NOT_SAID, Reading
from talklog.verdicts.names import (
    described,
    joined,
    label_words,
    names_of,
    same_as_said,
    same_measurement,
)
from talklog.verdicts.outcomes import comparable


@dataclass(frozen=True, slots=True)
class Match:
    """A band that may be meant. ``open`` holds what the reading left open ("component",
    "position", "condition") with the sentence that says so."""

    band: Band
    open: dict[str, str]
    detail: int = 0  # how many words of position and condition agree


def meant_bands(reading: Reading, sheet: BandSheet) -> tuple[list[Match], str]:
    """The bands that may judge a reading, and, when there are none, why not."""
    named = [(band, how_named(reading, band)) for band in _of_quantity(reading, sheet.bands)]
    outright = [band for band, _ in named if same_as_said(reading.component, *_names(band))]
    if found := _all_placed(reading, outright, "exactly"):
        return _most_detailed(_counting(found, sheet.machine.authority)), ""
    for level in ("exactly", "generally", "vaguely"):
        near = [band for band, how in named if how == level]
        if found := _all_placed(reading, near, level):
            return _most_detailed(_counting(found, sheet.machine.authority)), ""
        if near:
            return [], _other_cases(near)
    return [], f"The sheet has no band for {described(reading)}."


def _names(band: Band) -> tuple[str, ...]:
    return (band.component, *band.also)


def _all_placed(reading: Reading, bands: Sequence[Band], named: str) -> list[Match]:
    return [match for band in bands if (match := _placed(reading, band, named)) is not None]


def _of_quantity(reading: Reading, bands: Sequence[Band]) -> list[Band]:
    exact = [band for band in bands if band.quantity == reading.quantity]
    kin = [band for band in bands if same_measurement(band.quantity, reading.quantity)]
    near = [band for band in kin if reading.unit and comparable(reading.unit, band)]
    components = {joined(band.component) for band in exact}
    return exact + [band for band in near if joined(band.component) not in components]


def how_named(reading: Reading, band: Band) -> str:
    """How the component said names the band's: "exactly", "generally" (a band for "nut" and a
    "wheel nut" said), "vaguely" (the other way, or not said), or "" when it does not."""
    if reading.component == NOT_SAID:
        return "vaguely"
    said, names = names_of(reading.component), names_of(*_names(band))
    if {"".join(name) for name in said} & {"".join(name) for name in names}:
        return "exactly"
    if any(one[-len(name) :] == name for one in said for name in names):
        return "generally"
    return "vaguely" if any(name[-len(one) :] == one for one in said for name in names) else ""


def _placed(reading: Reading, band: Band, named: str) -> Match | None:
    """The band as a match, or ``None`` if its position or condition is another one."""
    still_open: dict[str, str] = {}
    if named == "vaguely":
        still_open["component"] = _vague_component(reading)
    detail = 0
    for name in ("position", "condition"):
        wanted, said = label_words(getattr(band, name)), label_words(getattr(reading, name))
        if wanted <= said:
            detail += len(wanted)
        elif said < wanted:
            still_open[name] = f"No {name} was said; the band is for {getattr(band, name)}."
        else:
            return None
    return Match(band, still_open, detail)


def _vague_component(reading: Reading) -> str:
    if reading.component == NOT_SAID:
        return "No component was said."
    return f"Only {reading.component!r} was said."


def _most_detailed(found: list[Match]) -> list[Match]:
    """Where some bands apply for sure, only those that say most about the case."""
    sure = [match for match in found if not match.open]
    if not sure:
        return found
    best = max(match.detail for match in sure)
    return [match for match in sure if match.detail == best]


def _counting(found: list[Match], authority: str | None) -> list[Match]:
    """Without the authorities that do not count, if any that counts has spoken."""
    if authority is None:
        return found
    counting = [match for match in found if match.band.authority in (None, authority)]
    return counting or found


def _other_cases(bands: list[Band]) -> str:
    cases = [" ".join(filter(None, (band.condition, band.position))) for band in bands]
    return f"The sheet has bands only for other cases: {', '.join(dict.fromkeys(cases))}."
