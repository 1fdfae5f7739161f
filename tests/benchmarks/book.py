"""How quick the logbook is when it is full.

    python -m tests.benchmarks.book --records 100000

Fills a book with records of ten readings each over 100 machines and prints the time of each
question (best and worst of twenty) against its target, then the time of adding a record as ``add``
does it.
Needs about 2 GB of disk and some minutes for 100,000 records; the book is removed afterwards.
"""

from __future__ import annotations

import random
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import click

from talklog.logbook import writing
from talklog.logbook.due import due_items
from talklog.logbook.history import groups, history, trend
from talklog.logbook.kinds import Machine
from talklog.logbook.store import Logbook
from talklog.record import Machine as MachineRef
from talklog.record import ServiceRecord
from tests.booked import record_from

NOTE = (
    "hour meter reads four thousand two hundred and ten hours front tyre pressure two point two "
    "bar rear tyre pressure two point three bar wheel nut torqued to one ten newton metres brake "
    "pad thickness six millimetres oil pressure two point five bar battery voltage twelve point "
    "six volts belt deflection ten millimetres coolant temperature eighty degrees celsius idle "
    "speed eight hundred r p m clutch pedal free play twelve millimetres replaced the impeller "
    "check the "
    "belt again in fifty hours"
)
BATCH = 500  # records in a transaction while filling
MACHINES = 100
OPEN_EVERY = 20  # every so many-th note of a machine leaves something to do that stays open
TIMES = 20
TARGET = 100  # milliseconds for every question
ADD_TARGET = 50  # milliseconds
FIRST = datetime.fromisoformat("2020-01-01T08:00:00+00:00")


def varied(base: ServiceRecord, number: int) -> ServiceRecord:
    """The base record as that of another note of one of the machines."""
    key = f"m{number % MACHINES:03}"
    open_one = number // MACHINES % OPEN_EVERY == 0
    return base.model_copy(
        update={
            "follow_ups": base.follow_ups if open_one else (),
            "id": str(uuid.UUID(int=number)),
            "machine": MachineRef(key=key, name=f"Machine {number % MACHINES}"),
        }
    )


def fill(book: Logbook, base: ServiceRecord, count: int) -> None:
    """Many records, a batch in each transaction."""
    for start in range(0, count, BATCH):
        with book.database.writing() as connection:
            for number in range(start, min(start + BATCH, count)):
                record = varied(base, number)
                said = (FIRST + timedelta(minutes=30 * number)).isoformat()
                machine = Machine(record.machine.key, record.machine.name)
                entry = writing.insert_entry(
                    connection, record, name="note", audio=None, said_at=said, now=said,
                    machine=writing.machine_number(connection, machine, said),
                )  # fmt: skip
                writing.insert_revision(
                    connection, entry, 1, record, who="talklog", what="filled", origin="taken",
                    now=said,
                )  # fmt: skip
        if start % (20 * BATCH) == 0:
            click.echo(f"{start} records", err=True)


def timed(action: Callable[[], object]) -> tuple[float, float]:
    """Best and worst of TIMES, in milliseconds."""
    taken = []
    for _ in range(TIMES):
        started = time.perf_counter()
        action()
        taken.append(1000 * (time.perf_counter() - started))
    return min(taken), max(taken)


@click.command()
@click.option("--records", default=100_000, show_default=True)
def main(records: int) -> None:
    """Fill a book and time the questions that people ask."""
    base = record_from(NOTE)
    click.echo(f"{records} records, {records * len(base.readings)} readings")
    with tempfile.TemporaryDirectory() as folder, Logbook.open(Path(folder) / "b.db") as book:
        fill(book, base, records)
        chance = random.Random(1)

        def key() -> str:
            return f"m{chance.randrange(MACHINES):03}"

        def past() -> None:
            points = history(book, key(), component="brake pad", quantity="thickness")
            for found in groups(points).values():
                trend(found)

        questions: dict[str, Callable[[], object]] = {
            "list": book.entries,
            "list of a machine": lambda: book.entries(machine=key()),
            "search": lambda: book.search("impeller"),
            "search of a machine": lambda: book.search("impeller", machine=key()),
            "history": past,
            "due": lambda: due_items(book, most=200),
            "due of a machine": lambda: due_items(book, machine=key(), most=200),
        }
        for name, action in questions.items():
            best, worst = timed(action)
            click.echo(f"{name:20}{best:8.1f} to {worst:6.1f} ms   target {TARGET}")
        numbers = iter(range(records, records + TIMES))
        best, worst = timed(lambda: book.add(varied(base, next(numbers)), audio=None, name="n"))
        click.echo(f"{'add':20}{best:8.1f} to {worst:6.1f} ms   target {ADD_TARGET}")


if __name__ == "__main__":
    main()
