"""``watch``: a folder that a phone syncs into."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.commands.common import BANDS, BOOK, MACHINE, MODEL, sheet_chosen

if TYPE_CHECKING:
    from talklog.logbook.incoming import Incoming
    from talklog.logbook.store import Logbook
    from talklog.sheets import NamedSheet


@click.command(short_help="Take what arrives in a folder, into the logbook.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--once",
    is_flag=True,
    help="Take what is there and stop; a file that is still arriving is waited for.",
)
@click.option("--again", is_flag=True, help="Try those again that failed before.")
@click.option("--every", default=5.0, show_default=True, metavar="SECONDS",
              type=click.FloatRange(min=0.2), help="How often to look.")  # fmt: skip
@MACHINE
@BANDS
@BOOK
@MODEL
def watch(
    folder: Path,
    once: bool,
    again: bool,
    every: float,
    machine: str | None,
    bands: Path | None,
    book: Path | None,
    model: Path | None,
) -> None:
    """Put every recording that arrives in DIR into the logbook, each once, until Ctrl-C.

    Your files are never moved or changed. What cannot be read is named with the reason and left
    alone until it changes (or --again). Stop and start at any time: nothing is taken twice.

    \b
      talklog watch ~/Phone/notes --machine heron
      talklog watch ~/Phone/notes --once
    """
    from talklog.errors import LogbookError
    from talklog.inputs import recordings
    from talklog.logbook.incoming import Incoming
    from talklog.logbook.store import Logbook

    if not folder.is_dir():
        raise LogbookError(f"{folder}: there is no such folder to watch")
    with Logbook.open(book) as opened:
        incoming = Incoming(opened, _taker(opened, sheet_chosen(machine, bands), model))
        if again:
            click.echo(f"trying {incoming.forget_failures()} again", err=True)
        try:
            while True:
                files = [p for p in recordings((folder,)) if p.is_file()]
                _sweep(incoming, files)
                if once and not incoming.arriving(files):
                    break
                time.sleep(every)
        except KeyboardInterrupt:
            click.echo("stopped; start it again at any time", err=True)


def _sweep(incoming: Incoming, files: list[Path]) -> None:
    new = incoming.new(files)
    for number, path in enumerate(new, 1):
        click.echo(f"{number}/{len(new)} {path.name}", err=True)
        outcome = incoming.one(path)
        told = (
            f"entry {outcome.entry}"
            if outcome.entry is not None
            else f"set apart: {outcome.reason}"
        )
        click.echo(f"    {told}", err=True)


def _taker(
    opened: Logbook, chosen: NamedSheet | None, model: Path | None
) -> Callable[[Path], tuple[int, str]]:
    """Hears a recording and puts it into the book; the model is loaded at the first one."""
    from talklog.commands.common import day_said, listener, sheet_of, spoken_at
    from talklog.pipeline import record_of

    hear_one: list[Callable] = []

    def take(path: Path) -> tuple[int, str]:
        if not hear_one:
            hear_one.append(listener(model))
        day = day_said(path, None)
        record = record_of(hear_one[0](path), sheet=chosen or sheet_of(path), said_on=day)
        entry = opened.add(record, audio=path, name=path.name, said_at=spoken_at(path))
        return entry.id, record.source.sha256

    return take
