"""What was measured on a machine: each line of readings with its last one, without reading all."""

from __future__ import annotations

from dataclasses import dataclass

from talklog.logbook.store import Logbook

# Of a group, SQLite takes the other columns from the row that holds the greatest said_utc
# (documented under "Bare columns in an aggregate query").
_LINES = """
SELECT r.component, coalesce(r.position, '') AS place, r.quantity, count(*), r.value, r.unit,
    r.verdict, substr(e.said_at, 1, 10), max(e.said_utc)
FROM reading AS r JOIN entry AS e ON e.id = r.entry_id JOIN machine AS m ON m.id = r.machine_id
WHERE m.key = ? GROUP BY r.component, place, r.quantity ORDER BY r.component, place, r.quantity
"""


@dataclass(frozen=True, slots=True)
class Line:
    """All readings of one quantity at one place of a component, and the last of them."""

    component: str
    position: str  # empty where none was said
    quantity: str
    readings: int
    value: str
    unit: str | None
    verdict: str
    day: str


def latest(book: Logbook, machine: str) -> list[Line]:
    """Every line of a machine, by component. Raises LogbookError for an unknown machine."""
    key = book.known_key(machine)
    with book.database.reading() as connection:
        return [Line(*tuple(row)[:8]) for row in connection.execute(_LINES, (key,))]
