"""The ``talklog`` command: a thin shell that turns arguments into calls and errors into text.

Only this module and those of ``commands`` print. Everything heavy is imported inside the commands,
so that --help is quick. Exit status: 0 done, 1 something could not be read (named, the rest done),
2 wrong use, 130 stopped.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from talklog import __version__
from talklog.commands import bands, book, listen, machine, models, records, review, watch
from talklog.commands.common import complain
from talklog.errors import TalklogError

STOPPED = 130

MAIN_HELP = """Turn spoken workshop notes into checked service records. Nothing leaves this machine.

\b
  talklog take van.flac                    recording -> record, with van.toml as its bands
  talklog take notes/ --out records/       a folder of recordings -> files
  talklog read note.txt --format json      the same from typed or dictated text
  talklog listen --bands van.toml          live, while you work: what is out of band at once
  talklog take notes/ --log                into the logbook; talklog book list shows it
  talklog watch ~/Phone/notes              whatever arrives there, into the logbook
  talklog review                           play, correct and sign in the browser
  talklog book due                         what is still to do
  talklog hear van.flac --format vtt       only the words, with their times
  talklog bands check van.toml             is this band sheet good?

Readings outside their band and words that were not sure come first in every record. Exit status:
0 done, 1 something could not be read, 2 wrong use. A flagged reading is no error.
"""


@click.group(help=MAIN_HELP, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", help="Show the version and stop.")
def cli() -> None:
    pass


for command in (
    records.take,
    records.read,
    records.hear,
    listen.listen,
    watch.watch,
    review.review,
    book.book,
    machine.machine,
    bands.bands,
    models.models,
):
    cli.add_command(command)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Entry point of the command: runs it and exits, never with a traceback for a known error."""
    try:
        cli.main(arguments, prog_name="talklog", standalone_mode=False)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("talklog: stopped", err=True)
        sys.exit(STOPPED)
    except TalklogError as error:
        complain(error)
        sys.exit(1)
    sys.exit(0)
