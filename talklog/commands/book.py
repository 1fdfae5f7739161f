"""``book``: the logbook on the command line."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.commands.common import BOOK, write_out

if TYPE_CHECKING:
    from talklog.logbook.due import DueItem
    from talklog.logbook.kinds import Summary

MOST = 50
_FILE = click.Path(path_type=Path, dir_okay=False)
_MACHINE = click.option("--machine", metavar="KEY", help="Only this machine.")
_STATES = {
    "overdue": "OVERDUE",
    "due": "DUE",
    "event": "when",
    "open": "open",
    "later": "later",
}


@click.group(short_help="The logbook: list, search, history, what is due.")
def book() -> None:
    """Work with the logbook, one SQLite file with the recordings in a folder beside it.

    Put notes in with talklog take --book or talklog watch. The file is TALKLOG_BOOK, or
    talklog/logbook.db in the user's data folder, unless --book names another.
    """


@book.command("list", short_help="The newest entries.")
@_MACHINE
@click.option("--most", default=MOST, show_default=True, help="How many.")
@click.option("--before", type=int, metavar="ENTRY", help="Older than this entry: the next page.")
@BOOK
def list_entries(machine: str | None, most: int, before: int | None, book: Path | None) -> None:
    """List the newest entries, with how much there is to look at.

    \b
      talklog book list --machine heron
    """
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        found = opened.entries(machine=machine, limit=most, before=before)
    write_out("".join(f"{entry_line(one)}\n" for one in found) or "No entries.\n")


@book.command("show", short_help="One entry, with its changes.")
@click.argument("entry", type=int)
@click.option(
    "--revision", type=int, help="As it was at this revision; the current one if not given."
)
@click.option("--format", "form", type=click.Choice(("text", "json", "html")), default="text",
              show_default=True, help="Form of the record.")  # fmt: skip
@BOOK
def show(entry: int, revision: int | None, form: str, book: Path | None) -> None:
    """Show the record of an entry, who changed it and who signed it.

    \b
      talklog book show 12
      talklog book show 12 --format html > sheet.html
    """
    from talklog.logbook.store import Logbook
    from talklog.outputs import WRITERS

    with Logbook.open(book) as opened:
        found = opened.entry(entry)
        record = opened.record(entry, revision) if revision else found.record
        history = [*opened.revisions(entry), *opened.seals(entry)]
    write_out(WRITERS[form][1](record, found.name))
    if form == "text":
        write_out("\nHISTORY\n" + "".join(f"  {_history_line(one)}\n" for one in history))


@book.command("search", short_help="Entries in which words were said.")
@click.argument("words", nargs=-1, required=True)
@_MACHINE
@BOOK
def search(words: tuple[str, ...], machine: str | None, book: Path | None) -> None:
    """Find entries in which all WORDS were said; the last may be the beginning of one.

    \b
      talklog book search impeller
    """
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        hits = opened.search(" ".join(words), machine=machine)
    text = "".join(f"{entry_line(hit.summary)}\n        {hit.excerpt}\n" for hit in hits)
    write_out(text or "Nothing found.\n")


@book.command("history", short_help="Readings of a machine over time.")
@click.argument("machine")
@click.option("--component", help="Only this component.")
@click.option("--quantity", help="Only this quantity.")
@click.option("--position", help="Only this place.")
@click.option("--plot", type=_FILE, metavar="FILE", help="Draw it too: FILE ends in .svg or .png.")
@BOOK
def show_history(
    machine: str,
    component: str | None,
    quantity: str | None,
    position: str | None,
    plot: Path | None,
    book: Path | None,
) -> None:
    """Show all readings of a machine over time, with how fast they move and when, if they go on so,
    they reach their limit. That is plain arithmetic on few readings, not a promise.

    \b
      talklog book history heron --component "brake pad" --plot pads.svg
    """
    from talklog.logbook.history import groups, history
    from talklog.logbook.store import Logbook
    from talklog.logbook.tables import history_text

    with Logbook.open(book) as opened:
        points = history(opened, machine, component=component, quantity=quantity, position=position)
    write_out(history_text(groups(points)) or "No readings.\n")
    if plot is not None:
        from talklog.logbook.plots import draw

        draw(groups(points), plot)
        click.echo(f"wrote {plot}", err=True)


@book.command("due", short_help="What is still to do.")
@_MACHINE
@click.option("--at", type=float, metavar="METER", help="Meter of the machine now.")
@click.option(
    "--on", type=click.DateTime(("%Y-%m-%d",)), metavar="DATE", help="Day that counts as today."
)
@click.option("--ics", type=_FILE, metavar="FILE", help="Write it as iCalendar to-dos (RFC 5545).")
@click.option("--most", default=200, show_default=True, help="How many to show.")
@BOOK
def due(
    machine: str | None,
    most: int,
    at: float | None,
    on: datetime | None,
    ics: Path | None,
    book: Path | None,
) -> None:
    """List what is still to do, by day, by meter and by event; the most urgent first.

    \b
      talklog book due --machine heron --at 84500
      talklog book due --ics jobs.ics
    """
    from talklog.logbook.calendars import as_calendar
    from talklog.logbook.due import due_items
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        day = on.date() if on else None
        items = due_items(opened, machine=machine, on=day, at=at, most=None if ics else most)
        now, name = datetime.fromisoformat(opened.now()), opened.path.name
    write_out("".join(f"{_due_line(item)}\n" for item in items[:most]) or "Nothing to do.\n")
    if ics is not None:
        _write(ics, as_calendar(items, now=now, book=name).encode())


@book.command("done", short_help="Mark a thing to do as done.")
@click.argument("entry", type=int)
@click.argument("place")
@click.option("--who", required=True, help="Who did it.")
@BOOK
def done(entry: int, place: str, who: str, book: Path | None) -> None:
    """Mark a thing to do as done by hand. ENTRY and PLACE stand behind it in the list of talklog
    book due ("[12/40-47]" is entry 12, place 40-47). A later note that says it was done marks it by
    itself.

    \b
      talklog book done 12 40-47 --who Ada
    """
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        opened.mark_done(entry, place, who=who)


@book.command("readings", short_help="All readings as CSV.")
@_MACHINE
@BOOK
def readings(machine: str | None, book: Path | None) -> None:
    """Print all readings as CSV (RFC 4180) for a spreadsheet.

    \b
      talklog book readings --machine heron > heron.csv
    """
    from talklog.logbook.exports import readings_csv
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        sys.stdout.flush()
        sys.stdout.buffer.write(readings_csv(opened, machine=machine).encode())


@book.command("records", short_help="All records as JSON lines.")
@BOOK
def records(book: Path | None) -> None:
    """Print the current record of each entry, one JSON object a line.

    \b
      talklog book records > records.jsonl
    """
    from talklog.logbook.exports import records_jsonl
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        for line in records_jsonl(opened):
            write_out(line)


@book.command("export", short_help="Everything as one file.")
@click.argument("file", type=_FILE)
@BOOK
def export(file: Path, book: Path | None) -> None:
    """Write everything, recordings and all revisions too, into one ZIP file of open formats.

    \b
      talklog book export heron-2026.zip
    """
    from talklog.logbook.exports import write_archive
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        write_archive(opened, file)
    click.echo(f"wrote {file}", err=True)


@book.command("import", short_help="An export into an empty book.")
@click.argument("file", type=_FILE)
@BOOK
def import_archive(file: Path, book: Path | None) -> None:
    """Read an export into an empty book; hashes and seals are checked.

    \b
      talklog book import heron-2026.zip --book new.db
    """
    from talklog.logbook.exports import read_archive
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        click.echo(f"{read_archive(opened, file)} entries", err=True)


@book.command("backup", short_help="A copy while it is in use.")
@click.argument("file", type=_FILE)
@BOOK
def backup(file: Path, book: Path | None) -> None:
    """Copy the book to FILE and its recordings beside it, while others may be writing.

    \b
      talklog book backup /media/stick/logbook.db
    """
    from talklog.logbook.backups import back_up
    from talklog.logbook.store import Logbook

    with Logbook.open(book) as opened:
        click.echo(f"wrote {back_up(opened, file)}", err=True)


@book.command("check", short_help="Is everything whole?")
@BOOK
def check(book: Path | None) -> None:
    """Look at every page, record, hash, seal and recording; exit status 1 if one is wrong.

    \b
      talklog book check
    """
    from talklog.logbook.store import Logbook
    from talklog.logbook.verify import find_damage

    with Logbook.open(book) as opened:
        problems = list(find_damage(opened))
        path = opened.path
    for problem in problems:
        click.echo(problem, err=True)
    if problems:
        sys.exit(1)
    write_out(f"{path}: whole.\n")


# ---- lines ---------------------------------------------------------------------------------------


def entry_line(one: Summary) -> str:
    """An entry in a list: number, day, machine, what to look at, its state."""
    looks = one.stops + one.looks
    marks = [
        f"{looks} to look at" if looks else "",
        f"{one.unsure} unsure" if one.unsure else "",
        "amended" if one.amended else "signed" if one.sealed else "",
    ]
    machine = one.machine or "no machine"
    told = ", ".join(mark for mark in marks if mark)
    return f"{one.id:6}  {one.said_at[:10]}  {machine:16}{one.readings:3} readings  {told}"


def _history_line(one: object) -> str:
    if hasattr(one, "what"):
        mark = "amendment" if one.amendment else "revision"
        return f"{mark} {one.number}  {one.made_at}  {one.who}: {one.what}"
    return f"signed      {one.made_at}  {one.who}  (revision {one.revision}, {one.sha256[:16]}…)"


def _due_line(item: DueItem) -> str:
    when = item.due_on or item.event or ""
    if item.due_meter is not None:
        when = f"at {item.due_meter:g} {item.meter_unit}"
    elif not when and item.due_text:
        when = f"{item.due_text} from {item.said_on}"
    place = f"{item.entry_id}/{item.place}"
    return (
        f"{_STATES[item.state]:9}{when:22}{item.machine or 'no machine':14}{item.what}  [{place}]"
    )


def _write(path: Path, content: bytes) -> None:
    from talklog.errors import LogbookError

    try:
        path.write_bytes(content)
    except OSError as error:
        raise LogbookError(f"{path}: cannot be written ({error.strerror})") from error
    click.echo(f"wrote {path}", err=True)
