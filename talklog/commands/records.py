"""``take``, ``read`` and ``hear``: recordings and text -> records and words."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from talklog.commands.common import (
    BANDS,
    BOOK,
    FORMAT,
    FORMATS,
    LOG,
    MACHINE,
    MODEL,
    SAID_ON,
    SECOND_LISTENER,
    book_for,
    complain,
    day_said,
    listener,
    sheet_chosen,
    sheet_of,
    spoken_at,
    write_out,
)
from talklog.errors import AudioError, TalklogError

if TYPE_CHECKING:
    from talklog.logbook.store import Logbook
    from talklog.record import ServiceRecord
    from talklog.sheets import NamedSheet
    from talklog.transcript import Transcript


@click.command(short_help="Recordings -> service records.")
@click.argument("audio", nargs=-1, required=True, type=click.Path(path_type=Path))
@MACHINE
@BANDS
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write NAME.json, NAME.html and NAME.txt there (only the one of --format, if given) "
    "instead of printing. A file from another recording is never replaced.",
)
@FORMAT
@MODEL
@SECOND_LISTENER
@SAID_ON
@LOG
@BOOK
def take(
    audio: tuple[Path, ...],
    machine: str | None,
    bands: Path | None,
    out: Path | None,
    form: str | None,
    model: Path | None,
    second: str | None,
    said_on: datetime | None,
    log: bool,
    book: Path | None,
) -> None:
    """Listen to recordings and print the service record of each.

    AUDIO is one or more recordings (WAV, FLAC, Ogg, Opus, MP3; others with the video extra), or
    folders of them.

    \b
      talklog take van.flac
      talklog take van.flac --bands sheets/van.toml
      talklog take monday/ --machine heron --out records/
      talklog take van.flac --format html > van.html
      talklog take van.flac --second-listener
      talklog take monday/ --machine heron --log
    """
    from talklog.inputs import recordings

    files = recordings(audio)
    if form == "html" and len(files) > 1 and out is None:
        raise click.UsageError("several records do not fit one HTML page: add --out DIR")
    chosen = sheet_chosen(machine, bands)
    kept = book_for(log, book)
    record_files(
        files, chosen, form=form, out=out, model=model, second=second, said_on=said_on, book=kept
    )


def record_files(
    files: Sequence[Path],
    chosen: NamedSheet | None,
    *,
    form: str | None,
    out: Path | None,
    model: Path | None,
    second: str | None = None,
    said_on: datetime | None = None,
    book: Logbook | None = None,
) -> tuple[ServiceRecord, ...]:
    """Hear recordings and show or write the record of each; what fails is told, the rest done.

    Returns the records; ends the program with status 1 if one failed.
    """
    hear_one = listener(model, second)
    done, made = _Done(form=form, out=out, single=len(files) == 1), []
    for path in files:
        with done.reporting():
            if path.is_dir():
                raise AudioError(f"{path}: no recordings in this folder")
            day = day_said(path, said_on)
            record = _record(hear_one(path), chosen or sheet_of(path), day)
            made.append(record)
            done.add(record, path.name)
            if book is not None:
                keep(book, record, path)
    done.finish()
    return tuple(made)


def keep(book: Logbook, record: ServiceRecord, path: Path) -> None:
    """Put the record of a recording into the logbook, and say so."""
    entry = book.add(record, audio=path, name=path.name, said_at=spoken_at(path))
    click.echo(f"{path.name}: entry {entry.id} of {book.path}", err=True)


@click.command(short_help="Typed or dictated text -> a service record.")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@MACHINE
@BANDS
@FORMAT
@SAID_ON
@click.option(
    "--explain",
    is_flag=True,
    help="Instead of the record, print the note with every known word marked, and why each number "
    "became what it is.",
)
def read(
    file: Path,
    machine: str | None,
    bands: Path | None,
    form: str | None,
    said_on: datetime | None,
    explain: bool,
) -> None:
    """Read a typed or dictated note and print its service record.

    FILE is a text file in UTF-8, or - for standard input.

    \b
      talklog read note.txt --bands van.toml
      echo "rear tyre two point two bar" | talklog read - --format json
      talklog read note.txt --explain
    """
    from talklog.typed import read_file, read_stream

    if explain and form:
        raise click.UsageError("--explain prints for people: leave --format out")

    chosen = sheet_chosen(machine, bands)
    piped = str(file) == "-"
    transcript = read_stream(sys.stdin.buffer) if piped else read_file(file)
    if explain:
        _explain(transcript)
        return
    done = _Done(form=form, out=None, single=True)
    name = "from standard input" if piped else file.name
    sheet = chosen or (None if piped else sheet_of(file))
    done.add(_record(transcript, sheet, day_said(file, said_on)), name)
    done.finish()


def _explain(transcript: Transcript) -> None:
    from talklog.explain import explain

    write_out(explain(transcript))


@click.command(short_help="A recording -> its words.")
@click.argument("audio", type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form",
    type=click.Choice(("text", "json", "vtt")),
    default="text",
    show_default=True,
    help="Plain text, words with times and confidences, or WebVTT captions.",
)
@MODEL
def hear(audio: Path, form: str, model: Path | None) -> None:
    """Print the words of a recording and nothing else.

    \b
      talklog hear van.flac
      talklog hear van.flac --format vtt > van.vtt
    """
    from talklog import formats

    write = {"text": formats.as_text, "json": formats.as_json, "vtt": formats.as_vtt}[form]
    write_out(write(listener(model)(audio)))


class _Done:
    """Collects the records of a command, prints or writes them, and remembers what failed."""

    def __init__(self, *, form: str | None, out: Path | None, single: bool) -> None:
        self.form, self.out, self.single = form, out, single
        self.records: list[ServiceRecord] = []
        self.failed = False

    def reporting(self) -> _Reporting:
        return _Reporting(self)

    def add(self, record: ServiceRecord, name: str) -> None:
        if self.out is not None:
            self._write(record, name)
        elif self.form == "json":
            self.records.append(record)
        else:
            self._show(record, name)

    def finish(self) -> None:
        """Print what had to wait for all, and set the exit status."""
        from talklog.record import to_json

        if self.form == "json" and self.out is None and (self.records or not self.single):
            write_out(to_json(self.records[0] if self.single else self.records) + "\n")
        if self.failed:
            sys.exit(1)

    def _show(self, record: ServiceRecord, name: str) -> None:
        from talklog.outputs import WRITERS

        _, writer = WRITERS[self.form or "text"]
        write_out(writer(record, name) if self.single else f"{writer(record, name)}\n\n")

    def _write(self, record: ServiceRecord, name: str) -> None:
        from talklog.outputs import write_record

        forms = (self.form,) if self.form else FORMATS
        paths = write_record(record, name=name, folder=self.out, formats=forms)
        look = sum(flag.level != "note" for flag in record.flags)
        click.echo(f"{name}: {look} to look at; wrote {', '.join(map(str, paths))}", err=True)


class _Reporting:
    """Turns the error of one file into a line on stderr, so that the others are still done."""

    def __init__(self, done: _Done) -> None:
        self.done = done

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: type | None, error: BaseException | None, _trace: Any) -> bool:
        if not isinstance(error, TalklogError):
            return False
        complain(error)
        self.done.failed = True
        return True


def _record(transcript: Transcript, sheet: NamedSheet | None, day: date) -> ServiceRecord:
    from talklog.pipeline import record_of

    return record_of(transcript, sheet=sheet, said_on=day)
