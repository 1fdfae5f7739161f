"""History as text: one table for each thing, with what its readings tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from talklog.logbook.history import Point, Trend, since_last_set, trend
from talklog.logbook.lines import FEWEST

Groups = Mapping[tuple[str, str, str], Sequence[Point]]


def history_text(groups: Groups) -> str:
    """All groups, those with most readings first."""
    ordered = sorted(groups.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return "\n".join(_group(key, points) for key, points in ordered)


def _group(key: tuple[str, str, str], points: Sequence[Point]) -> str:
    component, position, quantity = key
    title = f"{component}{', ' + position if position else ''}: {quantity}"
    lines = [title, *(_line(point) for point in points)]
    told = trend(points)
    if told is not None:
        lines.append(f"  {trend_text(told)}")
    elif len(points) > 1:
        lines.append(f"  {_no_trend(points)}")
    return "\n".join(lines) + "\n"


def _line(point: Point) -> str:
    meter = f"{point.meter:g} {point.meter_unit}" if point.meter is not None else ""
    value = f"{point.value} {point.unit or '(no unit)'}"
    role = point.role.replace("_", " ")
    return (
        f"  {point.said_at[:10]}  {meter:>12}  {value:>14}  {role:9}  {point.verdict:10}"
        f"{_band(point):18} entry {point.entry_id}"
    )


def _band(point: Point) -> str:
    if point.band_low is None and point.band_high is None:
        return ""
    return f"{point.band_low or '…'} to {point.band_high or '…'} {point.band_unit or ''}".strip()


def _no_trend(points: Sequence[Point]) -> str:
    since = len(since_last_set(points))
    return (
        f"cannot say how fast it moves: {since} since it was last set; it takes {FEWEST} sure "
        "readings at different times, with units that fit"
    )


def trend_text(told: Trend) -> str:
    """In words: how fast, and when the limit would be reached if it went on so."""
    spread = f" ± {told.spread:.2g}" if told.spread else ""
    rate = f"moves {told.rate:+.3g}{spread} {told.unit} per {told.per} ({told.readings} readings)"
    if told.limit is None:
        return rate
    if told.at is None:
        return f"{rate}; it does not move towards its limit of {told.limit:g} {told.unit}"
    if told.at <= told.last:
        return f"{rate}; by that it is at its limit of {told.limit:g} {told.unit} already"
    if told.latest is None:
        return (
            f"{rate}; these readings do not yet show when it would reach {told.limit:g} "
            f"{told.unit} (perhaps at {_place(told, told.at)}, perhaps never)"
        )
    return (
        f"{rate}; would reach {told.limit:g} {told.unit} at {_place(told, told.at)} "
        f"if it went on like this (19 times in 20 between {_place(told, told.earliest or told.at)} "
        f"and {_place(told, told.latest)})"
    )


def _place(told: Trend, place: float) -> str:
    if told.per == "day":
        return told.day_at(place).isoformat()
    return f"{place:.0f} {told.per}"
