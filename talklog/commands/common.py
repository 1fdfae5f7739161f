"""What the commands share: options, how text leaves the program, and how errors are told."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.errors import TalklogError

if TYPE_CHECKING:
    from talklog.logbook.store import Logbook
    from talklog.sheets import NamedSheet
    from talklog.transcript import Transcript

FORMATS = ("json", "text", "html")

BANDS = click.option(
    "--bands",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Band sheet (TOML) with the limits of the machine. Without it, and without --machine, "
    "NAME.toml beside NAME.flac is used if it is there.",
)
MACHINE = click.option(
    "--machine",
    metavar="KEY",
    help="Use the sheet whose [machine] key is KEY, from the folder in TALKLOG_SHEETS or the "
    "user's data folder (talklog models where shows it).",
)
FORMAT = click.option(
    "--format", "form", type=click.Choice(FORMATS), help="Form of the record; text if not given."
)
MODEL = click.option(
    "--model",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Speech model folder in Vosk's layout, instead of the one that comes with talklog.",
)

INSTALLED = "installed"
SECOND_LISTENER = click.option(
    "--second-listener",
    "second",
    is_flag=False,
    flag_value=INSTALLED,
    metavar="[DIR]",
    help="Have another recogniser hear the seconds of each number too; a reading on which the two "
    "differ is marked unsure. Needs the extra second-listener; DIR is a folder with its weights. "
    "Stands behind the recordings.",
)

BOOK = click.option(
    "--book",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The logbook file, instead of TALKLOG_BOOK or the one in the user's data folder.",
)

LOG = click.option(
    "--log", is_flag=True, help="Put the record into the logbook too (--book says which one)."
)

SAID_ON = click.option(
    "--said-on",
    type=click.DateTime(("%Y-%m-%d",)),
    metavar="DATE",
    help="Day of the note, from which “friday” and “tomorrow” count; without it the day the file "
    "was last written, or today for piped text.",
)


def sheet_chosen(machine: str | None, bands: Path | None) -> NamedSheet | None:
    """The sheet that --bands or --machine names. Raises UsageError when both are given."""
    from talklog.sheets import sheet_for_machine, sheet_in

    if machine and bands:
        raise click.UsageError("give --machine or --bands, not both")
    if bands:
        return sheet_in(bands)
    return sheet_for_machine(machine) if machine else None


def sheet_of(path: Path) -> NamedSheet | None:
    """The sheet that lies beside a file, if one does."""
    from talklog.sheets import sheet_beside

    return sheet_beside(path)


def book_for(log: bool, book: Path | None) -> Logbook | None:
    """The logbook that --log or --book asks for, open; ``None`` if neither does."""
    from talklog.logbook.store import Logbook

    return Logbook.open(book) if log or book else None


def day_said(path: Path, said_on: datetime | None) -> date:
    """The day of a note: the one given, else that of its file; today for what has no file."""
    if said_on is not None:
        return said_on.date()
    return date.fromisoformat(spoken_at(path)[:10]) if path.is_file() else date.today()


def spoken_at(path: Path) -> str:
    """When a recording was made, as far as its file tells: when it was last written (RFC 3339)."""
    return datetime.fromtimestamp(path.stat().st_mtime).astimezone().isoformat(timespec="seconds")


def listener(model: Path | None, second: str | None = None) -> Callable[[Path], Transcript]:
    """A function from recording to transcript that loads the model once.

    ``second`` is the folder of a second listener's weights, or INSTALLED for those of the extra.
    """
    from talklog.progress import Progress
    from talklog.recognise import Recogniser

    check_numbers = _second_listener(second)
    recogniser = Recogniser(model)

    def hear_one(path: Path) -> Transcript:
        progress = Progress(path.name, _progress_text, terminal=sys.stderr.isatty())
        heard = recogniser.hear(path, on_progress=progress)
        return check_numbers(path, heard) if check_numbers else heard

    return hear_one


def _second_listener(second: str | None) -> Callable[[Path, Transcript], Transcript] | None:
    if second is None:
        return None
    from talklog.second_listener import SecondListener

    return SecondListener(None if second == INSTALLED else Path(second)).listen


def _progress_text(text: str) -> None:
    click.echo(text, nl=False, err=True)


def write_out(text: str) -> None:
    """Put text on standard output as it is."""
    click.echo(text, nl=False)


def complain(error: TalklogError) -> None:
    """Tell an error on standard error, by the program's name."""
    click.echo(f"talklog: {error}", err=True)
