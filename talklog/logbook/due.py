"""What is still to do: by day, by meter, by event, and what nobody dated."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from talklog.logbook.database import Connection, Row
from talklog.logbook.store import Logbook, machine_number_of

State = Literal["overdue", "due", "later", "event", "open"]
ORDER: tuple[State, ...] = ("overdue", "due", "event", "open", "later")
_OPEN = """
SELECT entry_id, number, machine_id, due_on, due_meter, meter_unit, due_kind FROM follow_up
WHERE done_in IS NULL AND NOT by_hand
"""
_ONE = """
SELECT f.*, m.key, m.name, e.said_at FROM follow_up AS f JOIN entry AS e ON e.id = f.entry_id
    LEFT JOIN machine AS m ON m.id = f.machine_id WHERE f.entry_id = ? AND f.number = ?
"""
_METER = """
SELECT meter FROM entry WHERE machine_id = ? AND meter IS NOT NULL AND meter_unit = ?
ORDER BY said_utc DESC, id DESC LIMIT 1
"""


@dataclass(frozen=True, slots=True)
class DueItem:
    """A thing to do. ``place`` names it within its entry. ``due_on`` is a day, ``due_meter`` a
    meter in ``meter_unit``, ``event`` what must happen first; all may be missing."""

    entry_id: int
    place: str
    machine: str | None
    machine_name: str | None
    what: str
    component: str | None
    said_on: str
    state: State
    due_on: str | None
    due_meter: float | None
    meter_unit: str | None
    meter_now: float | None
    event: str | None
    due_text: str


def due_items(
    book: Logbook,
    *,
    machine: str | None = None,
    on: date | None = None,
    at: float | None = None,
    most: int | None = None,
) -> list[DueItem]:
    """The open things to do, the most urgent first; no more than ``most`` of them.

    ``on`` is the day that counts as today; ``at`` the meter of the machine, which stands for the
    last one said. Raises LogbookError for an unknown machine.
    """
    today = (on or date.fromisoformat(book.now()[:10])).isoformat()
    with book.database.reading() as connection:
        number = machine_number_of(connection, machine) if machine else None
        query = _OPEN + (" AND machine_id = ?" if machine else "")
        found = connection.execute(query, (number,) if machine else ()).fetchall()
        meters = _meters(connection, found)
        placed = [_placed(row, today, meters if at is None else {}, at) for row in found]
        chosen = sorted(placed, key=lambda one: one[:3])[:most]
        return [
            _item(connection.execute(_ONE, (entry, place)).fetchone(), state, meter)
            for _, entry, place, state, meter in chosen
        ]


def _meters(
    connection: Connection, found: Iterable[Row]
) -> dict[tuple[int | None, str | None], float]:
    """The last meter of each machine, in the units in which something is due."""
    wanted = {(row["machine_id"], row["meter_unit"]) for row in found if row["due_meter"]}
    said = {pair: connection.execute(_METER, pair).fetchone() for pair in wanted}
    return {pair: row[0] for pair, row in said.items() if row}


def _placed(
    row: Row, today: str, meters: Mapping[Any, float], at: float | None
) -> tuple[tuple[int, str, float], int, int, State, float | None]:
    """(urgency, entry, number, state, meter now) of an open thing to do."""
    meter = meters.get((row["machine_id"], row["meter_unit"]), at)
    state = _state(row, today, meter)
    return _urgency(row, state), row["entry_id"], row["number"], state, meter


def _urgency(row: Row, state: State) -> tuple[int, str, float]:
    return ORDER.index(state), row["due_on"] or "9999", row["due_meter"] or 0.0


def _item(row: Row, state: State, meter: float | None) -> DueItem:
    return DueItem(
        entry_id=row["entry_id"], place=row["place"], machine=row["key"],
        machine_name=row["name"], what=row["what"], component=row["component"],
        said_on=row["said_at"][:10], state=state, due_on=row["due_on"],
        due_meter=row["due_meter"], meter_unit=row["meter_unit"], meter_now=meter,
        event=row["due_text"] if row["due_kind"] == "event" else None, due_text=row["due_text"],
    )  # fmt: skip


def _state(row: Row, today: str, meter: float | None) -> State:
    if row["due_on"]:
        if row["due_on"] < today:
            return "overdue"
        return "due" if row["due_on"] == today else "later"
    if row["due_meter"] is not None and meter is not None:
        if meter > row["due_meter"]:
            return "overdue"
        return "due" if meter == row["due_meter"] else "later"
    return "event" if row["due_kind"] == "event" else "open"
