"""``machine``: the machines of the logbook."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.commands.common import BOOK, write_out

if TYPE_CHECKING:
    from talklog.logbook.kinds import KnownMachine, Machine

_KIND = click.option("--kind", help="What it is: van, lathe, generator set.")
_SERIAL = click.option("--serial", help="Serial number, or the VIN of a road vehicle.")
_METER = click.option(
    "--meter", type=click.Choice(("h", "km", "mi")), help="Unit of its hour meter or odometer."
)


@click.group(short_help="The machines of the logbook.")
def machine() -> None:
    """Work with the machines of the logbook. A record brings its machine along by itself."""


@machine.command("add", short_help="Add a machine.")
@click.argument("key")
@click.argument("name")
@_KIND
@_SERIAL
@_METER
@BOOK
def add(
    key: str, name: str, kind: str | None, serial: str | None, meter: str | None, book: Path | None
) -> None:
    """Add the machine KEY, which is called NAME. The key is that of its band sheet.

    \b
      talklog machine add heron "Van Heron" --kind van --meter mi
    """
    from talklog.errors import LogbookError
    from talklog.logbook.kinds import Machine
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        if any(known.machine.key == key for known in opened.machines()):
            raise LogbookError(f"there is a machine {key!r} already; use talklog machine change")
        _keep(opened, Machine(key, name, kind, serial, meter))


@machine.command("change", short_help="Change what is known of a machine.")
@click.argument("key")
@click.option("--name", help="What it is called.")
@_KIND
@_SERIAL
@_METER
@BOOK
def change(
    key: str,
    name: str | None,
    kind: str | None,
    serial: str | None,
    meter: str | None,
    book: Path | None,
) -> None:
    """Change the machine KEY; what is not given stays as it is.

    \b
      talklog machine change heron --serial 1M8GDM9AXKP042788
    """
    from talklog.logbook.store import Logbook

    given = {"name": name, "kind": kind, "serial": serial, "meter_unit": meter}
    with Logbook.open(book) as opened:
        known = opened.machine(key).machine
        _keep(opened, replace(known, **{k: v for k, v in given.items() if v is not None}))


@machine.command("list", short_help="All machines.")
@BOOK
def list_machines(book: Path | None) -> None:
    """List the machines with their last meter and how much is still to do.

    \b
      talklog machine list
    """
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        known = opened.machines()
    write_out("".join(f"{_line(one)}\n" for one in known) or "No machines yet.\n")


@machine.command("show", short_help="One machine.")
@click.argument("key")
@BOOK
def show(key: str, book: Path | None) -> None:
    """Show everything that is known of the machine KEY.

    \b
      talklog machine show heron
    """
    from talklog.logbook.history import replaced
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        known, parts = opened.machine(key), replaced(opened, key)
    machine = known.machine
    fields = {
        "machine": f"{machine.name} ({machine.key})",
        "kind": machine.kind,
        "serial": machine.serial,
        "meter": _meter(known),
        "entries": str(known.entries),
        "still to do": str(known.open_follow_ups),
    }
    write_out("".join(f"{name:14}{text or 'not known'}\n" for name, text in fields.items()))
    for part in parts:
        count = f"{part.quantity} × " if part.quantity else ""
        write_out(
            f"{'fitted':14}{part.said_at[:10]}  {count}{part.name}  (entry {part.entry_id})\n"
        )


def _keep(opened: object, machine: Machine) -> None:
    from talklog.logbook.serials import vin_warning

    opened.set_machine(machine)
    if machine.serial and (warning := vin_warning(machine.serial)):
        click.echo(f"{machine.serial}: {warning}", err=True)


def _line(known: KnownMachine) -> str:
    machine = known.machine
    due = f"{known.open_follow_ups} to do" if known.open_follow_ups else "nothing to do"
    return f"{machine.key:16}{machine.name:32}{known.entries:5} entries  {due:14}{_meter(known)}"


def _meter(known: KnownMachine) -> str:
    if known.meter is None:
        return ""
    return f"{known.meter} {known.meter_unit} on {known.meter_on}"
