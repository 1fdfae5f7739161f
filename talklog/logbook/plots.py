"""History as a picture: readings with their band, one panel for each thing (matplotlib)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from talklog.errors import LogbookError
from talklog.logbook.history import Point

MOST_PANELS = 6
KINDS = (".svg", ".png")
INK, BAND, WRONG = "#22313f", "#d8e4d0", "#a03020"  # dark blue, pale green, brick
OUT = ("low", "high", "unit_mismatch")
EXTRA = "pip install 'talklog[plots]'"


def draw(groups: Mapping[tuple[str, str, str], Sequence[Point]], path: Path) -> None:
    """Write the picture. Out-of-band readings are crosses, so that it reads without colour.

    Raises LogbookError when there is nothing to draw, matplotlib is missing, or the file cannot be
    written.
    """
    if path.suffix.lower() not in KINDS:
        raise LogbookError(f"{path}: a plot is {' or '.join(KINDS)}")
    if not groups:
        raise LogbookError("there are no readings to draw")
    figure_class = _figure()
    most = sorted(groups.items(), key=lambda pair: -len(pair[1]))[:MOST_PANELS]
    figure = figure_class(figsize=(8, 0.6 + 2.4 * len(most)), layout="constrained")
    panels = figure.subplots(len(most), squeeze=False)
    for panel, (key, points) in zip(panels.flat, most, strict=True):
        _panel(panel, key, points)
    try:
        figure.savefig(path, dpi=110)
    except OSError as error:
        raise LogbookError(f"{path}: cannot be written ({error.strerror})") from error


def _figure() -> Any:
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise LogbookError(f"drawing needs matplotlib: {EXTRA}") from error
    return Figure


def _panel(panel: Any, key: tuple[str, str, str], points: Sequence[Point]) -> None:
    component, position, quantity = key
    by_meter = all(point.meter is not None for point in points)
    places = [point.meter if by_meter else point.day for point in points]
    values = [float(point.value) for point in points]
    panel.plot(places, values, color=INK, linewidth=1)
    for place, value, point in zip(places, values, points, strict=True):
        out = point.verdict in OUT
        panel.plot(place, value, "X" if out else "o", color=WRONG if out else INK)
    _limits(panel, points[-1])
    panel.set_title(f"{component}{', ' + position if position else ''}", loc="left", color=INK)
    panel.set_ylabel(f"{quantity}, {points[-1].unit or 'no unit'}")
    panel.set_xlabel(f"meter, {points[-1].meter_unit}" if by_meter else "day")
    panel.margins(0.08, 0.25)


def _limits(panel: Any, point: Point) -> None:
    """The band of the last reading, drawn where it is in the unit of the readings."""
    if point.band_unit != point.unit:
        return
    for text in (point.band_low, point.band_high):
        if text is not None:
            panel.axhline(float(text), color=INK, linewidth=0.8, linestyle=(0, (6, 3)))
    if point.band_low is not None and point.band_high is not None:
        panel.axhspan(float(point.band_low), float(point.band_high), color=BAND, zorder=0)
