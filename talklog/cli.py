"""The ``talklog`` command: a thin shell that turns arguments into calls and errors into text.

Only this module prints. Everything heavy is imported inside the commands, so that --help is quick.
Exit status: 0 done, 1 something could not be read (named, the rest done), 2 wrong use, 130 stopped.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from talklog import __version__
from talklog.errors import AudioError, TalklogError

if TYPE_CHECKING:
    from talklog.record import ServiceRecord
    from talklog.sheets import NamedSheet
    from talklog.transcript import Transcript

STOPPED = 130
FORMATS = ("json", "text", "html")

MAIN_HELP = """Turn spoken workshop notes into checked service records. Nothing leaves this machine.

\b
  talklog take van.flac                    recording -> record, with van.toml as its bands
  talklog take notes/ --out records/       a folder of recordings -> files
  talklog read note.txt --format json      the same from typed or dictated text
  talklog hear van.flac --format vtt       only the words, with their times
  talklog bands check van.toml             is this band sheet good?

Readings outside their band and words that were not sure come first in every record. Exit status:
0 done, 1 something could not be read, 2 wrong use. A flagged reading is no error.
"""

_BANDS = click.option(
    "--bands",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Band sheet (TOML) with the limits of the machine. Without it, and without --machine, "
    "NAME.toml beside NAME.flac is used if it is there.",
)
_MACHINE = click.option(
    "--machine",
    metavar="KEY",
    help="Use the sheet whose [machine] key is KEY, from the folder in TALKLOG_SHEETS or the "
    "user's data folder (talklog models where shows it).",
)
_FORMAT = click.option(
    "--format", "form", type=click.Choice(FORMATS), help="Form of the record; text if not given."
)
_MODEL = click.option(
    "--model",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Speech model folder in Vosk's layout, instead of the one that comes with talklog.",
)


@click.group(help=MAIN_HELP, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", help="Show the version and stop.")
def cli() -> None:
    pass


@cli.command(short_help="Recordings -> service records.")
@click.argument("audio", nargs=-1, required=True, type=click.Path(path_type=Path))
@_MACHINE
@_BANDS
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write NAME.json, NAME.html and NAME.txt there (only the one of --format, if given) "
    "instead of printing. A file from another recording is never replaced.",
)
@_FORMAT
@_MODEL
def take(
    audio: tuple[Path, ...],
    machine: str | None,
    bands: Path | None,
    out: Path | None,
    form: str | None,
    model: Path | None,
) -> None:
    """Listen to recordings and print the service record of each.

    AUDIO is one or more recordings (WAV, FLAC, Ogg, Opus, MP3; others with the video extra), or
    folders of them.

    \b
      talklog take van.flac
      talklog take van.flac --bands sheets/van.toml
      talklog take monday/ --machine heron --out records/
      talklog take van.flac --format html > van.html
    """
    from talklog.inputs import recordings

    files = recordings(audio)
    if form == "html" and len(files) > 1 and out is None:
        raise click.UsageError("several records do not fit one HTML page: add --out DIR")
    chosen = _sheet_chosen(machine, bands)
    hear_one = _listener(model)
    done = _Done(form=form, out=out, single=len(files) == 1)
    for path in files:
        with done.reporting():
            if path.is_dir():
                raise AudioError(f"{path}: no recordings in this folder")
            done.add(_record(hear_one(path), chosen or _beside(path)), path.name)
    done.finish()


@cli.command(short_help="Typed or dictated text -> a service record.")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@_MACHINE
@_BANDS
@_FORMAT
def read(file: Path, machine: str | None, bands: Path | None, form: str | None) -> None:
    """Read a typed or dictated note and print its service record.

    FILE is a text file in UTF-8, or - for standard input.

    \b
      talklog read note.txt --bands van.toml
      echo "rear tyre two point two bar" | talklog read - --format json
    """
    from talklog.typed import read_file, read_stream

    chosen = _sheet_chosen(machine, bands)
    piped = str(file) == "-"
    transcript = read_stream(sys.stdin.buffer) if piped else read_file(file)
    done = _Done(form=form, out=None, single=True)
    name = "from standard input" if piped else file.name
    done.add(_record(transcript, chosen or (None if piped else _beside(file))), name)
    done.finish()


@cli.command(short_help="A recording -> its words.")
@click.argument("audio", type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form",
    type=click.Choice(("text", "json", "vtt")),
    default="text",
    show_default=True,
    help="Plain text, words with times and confidences, or WebVTT captions.",
)
@_MODEL
def hear(audio: Path, form: str, model: Path | None) -> None:
    """Print the words of a recording and nothing else.

    \b
      talklog hear van.flac
      talklog hear van.flac --format vtt > van.vtt
    """
    from talklog import formats

    write = {"text": formats.as_text, "json": formats.as_json, "vtt": formats.as_vtt}[form]
    _print(write(_listener(model)(audio)))


@cli.group(short_help="Band sheets: the limits of a machine.")
def bands() -> None:
    """Work with band sheets."""


@bands.command("check", short_help="Say what is wrong with a band sheet.")
@click.argument("file", type=click.Path(path_type=Path))
def check_bands(file: Path) -> None:
    """List every problem of a band sheet; exit status 1 if there is one.

    \b
      talklog bands check van.toml
    """
    from talklog.bands import find_problems, load_bands

    problems = find_problems(file)
    for problem in problems:
        click.echo(f"{file}: {problem}", err=True)
    if problems:
        sys.exit(1)
    sheet = load_bands(file)
    expected = f", {len(sheet.expects)} expectations" if sheet.expects else ""
    _print(f"{file}: good. {sheet.machine.name}: {len(sheet.bands)} bands{expected}.\n")


@cli.group(short_help="The speech model, and where files are looked for.")
def models() -> None:
    """Work with speech models."""


@models.command("where", short_help="Show which folders are used.")
@_MODEL
def where(model: Path | None) -> None:
    """Show the speech model that would be used, and the folder of band sheets.

    \b
      talklog models where
    """
    from talklog.recognise import find_model
    from talklog.sheets import sheet_folder

    _print(f"band sheets   {sheet_folder()}\n")
    _print(f"speech model  {find_model(model)}\n")


@models.command("check-folder", short_help="Say whether a folder is a usable speech model.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def check_folder(folder: Path) -> None:
    """Check that a folder holds a speech model in Vosk's layout that can be loaded.

    \b
      talklog models check-folder ~/models/other-english
    """
    from talklog.recognise import VoskEngine, find_model

    engine = VoskEngine(find_model(folder))
    _print(f"{folder}: good ({engine.name}, model {engine.model})\n")


# ---- shared by the commands ----------------------------------------------------------------------


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
            _print(to_json(self.records[0] if self.single else self.records) + "\n")
        if self.failed:
            sys.exit(1)

    def _show(self, record: ServiceRecord, name: str) -> None:
        from talklog.outputs import WRITERS

        _, writer = WRITERS[self.form or "text"]
        _print(writer(record, name) if self.single else f"{writer(record, name)}\n\n")

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
        _complain(error)
        self.done.failed = True
        return True


def _record(transcript: Transcript, sheet: NamedSheet | None) -> ServiceRecord:
    from talklog.pipeline import record_of

    return record_of(transcript, sheet=sheet)


def _sheet_chosen(machine: str | None, bands: Path | None) -> NamedSheet | None:
    from talklog.sheets import sheet_for_machine, sheet_in

    if machine and bands:
        raise click.UsageError("give --machine or --bands, not both")
    if bands:
        return sheet_in(bands)
    return sheet_for_machine(machine) if machine else None


def _beside(path: Path) -> NamedSheet | None:
    from talklog.sheets import sheet_beside

    return sheet_beside(path)


def _listener(model: Path | None) -> Callable[[Path], Transcript]:
    """A function from recording to transcript that loads the model once."""
    from talklog.progress import Progress
    from talklog.recognise import Recogniser

    recogniser = Recogniser(model)

    def hear_one(path: Path) -> Transcript:
        progress = Progress(path.name, _progress_text, terminal=sys.stderr.isatty())
        return recogniser.hear(path, on_progress=progress)

    return hear_one


def _progress_text(text: str) -> None:
    click.echo(text, nl=False, err=True)


def _print(text: str) -> None:
    click.echo(text, nl=False)


def _complain(error: TalklogError) -> None:
    click.echo(f"talklog: {error}", err=True)


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
        _complain(error)
        sys.exit(1)
    sys.exit(0)
