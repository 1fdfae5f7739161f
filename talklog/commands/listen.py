"""``listen``: the record made while the mechanic talks."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.commands.common import (
    BANDS,
    FORMAT,
    MACHINE,
    MODEL,
    complain,
    sheet_chosen,
    sheet_of,
)
from talklog.errors import AudioError

if TYPE_CHECKING:
    from talklog.live.alerts import Alerts
    from talklog.live.session import Event, Session
    from talklog.sheets import NamedSheet

MARKS = {"out": "!! ", "ask": "?? ", "": "   "}
LEADS = {
    "reading": "",
    "changed": "now: ",
    "gone": "no longer a reading: ",
    "not recorded": "not: ",
    "only recorded": "but: ",
}
SAID = {
    "pause": "paused: nothing is written down until you say “start listening again”",
    "go_on": "listening again",
    "drop": "the last reading is set aside",
    "no drop": "there is no reading to set aside",
    "read_back": "the last reading was",
    "finish": "finished by voice",
}


@click.command(short_help="Listen live; say at once what is out of band.")
@click.option(
    "--from-file",
    "source",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="AUDIO",
    help="Listen to a recording at the speed at which it was spoken, instead of the microphone.",
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1),
    default=1.0,
    show_default=True,
    help="With --from-file: how many times faster.",
)
@click.option("--device", metavar="NAME", help="Microphone to use: a part of its name.")
@click.option(
    "--keep",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where the sound is written as it comes (WAV). Without it a file named by date and time "
    "in the current folder.",
)
@click.option(
    "--paused",
    is_flag=True,
    help="Begin in a pause: nothing is kept until you say “start listening now”.",
)
@click.option("--quiet", is_flag=True, help="No tones.")
@click.option("--say", is_flag=True, help="Say what is out of band, if a synthesiser is there.")
@MACHINE
@BANDS
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write the record at the end into DIR instead of printing it.",
)
@FORMAT
@MODEL
def listen(
    source: Path | None,
    speed: float,
    device: str | None,
    keep: Path | None,
    paused: bool,
    quiet: bool,
    say: bool,
    machine: str | None,
    bands: Path | None,
    out: Path | None,
    form: str | None,
    model: Path | None,
) -> None:
    """Listen while you work; readings and their verdicts come about a second after you said them.

    Lines with !! are out of band, lines with ?? want an answer; each has its own tone. By voice:
    "stop listening now", "start listening again", "scratch the last reading", "read back the last
    reading", "stop recording now". Ctrl-C ends it too. The record at the end is made from the
    recording, as talklog take makes it.

    \b
      talklog listen --bands van.toml
      talklog listen --machine heron --out records/ --say
      talklog listen --from-file van.flac --speed 4 --quiet
    """
    from talklog.commands.records import record_files
    from talklog.live.alerts import Alerts, player, voice
    from talklog.live.sources import from_file, from_microphone

    chosen = sheet_chosen(machine, bands) or (sheet_of(source) if source else None)
    blocks = from_file(source, speed=speed) if source else from_microphone(device=device)
    kept = keep or Path(f"note-{datetime.now():%Y-%m-%d-%H%M%S}.wav")
    speaker = voice() if say else None
    busy = speaker.busy if speaker else lambda: False
    alerts = Alerts(play=None if quiet else player() or _bell, say=speaker, busy=busy)
    session = _session(model, chosen, paused=paused)
    whole = _listened(session, blocks, kept, alerts)
    if not kept.exists():
        click.echo("nothing was recorded", err=True)
    else:
        click.echo(f"{kept}: the sound; making the record from it", err=True)
        records = record_files((kept,), chosen, form=form, out=out, model=model)
        _tell_differences(session.against(records[0]))
    if not whole:
        sys.exit(1)


def _session(model: Path | None, chosen: NamedSheet | None, *, paused: bool) -> Session:
    from talklog.live.session import Session
    from talklog.pipeline import record_of
    from talklog.recognise import Recogniser

    recogniser = Recogniser(model)
    return Session(
        recogniser.listener(),
        lambda heard: record_of(heard, sheet=chosen),
        hear_again=recogniser.hear_again,
        paused=paused,
    )


def _listened(session: Session, blocks: Iterator[bytes], kept: Path, alerts: Alerts) -> bool:
    """Listen to the end. Whether it ended well; if not, that is told and the sound is there."""
    from talklog.live.growing import GrowingRecording
    from talklog.live.listening import Listening

    listening = Listening(session, GrowingRecording(kept), alerts, _shower())
    try:
        listening.run(blocks)
    except AudioError as error:
        complain(error)
        return False
    except KeyboardInterrupt:
        click.echo("\nstopped", err=True)
    return True


def _tell_differences(events: Iterator[Event]) -> None:
    """The whole note is understood better than its end: what that changed is said."""
    told = [_line(event) for event in events]
    if told:
        click.echo("In the record, which was made of the whole note:", err=True)
        click.echo("\n".join(told), err=True)


def _bell(_tone: bytes) -> None:
    if sys.stderr.isatty():
        click.echo("\a", nl=False, err=True)


def _shower() -> Callable[[Event], None]:
    """Events as lines on standard error; partial words only where they can be written over."""
    moving = sys.stderr.isatty()

    def show(event: Event) -> None:
        if event.kind == "partial":
            if moving:
                click.echo(f"\r\033[K… {event.text[-90:]}", nl=False, err=True)
            return
        click.echo(("\r\033[K" if moving else "") + _line(event), err=True)

    return show


def _line(event: Event) -> str:
    if event.kind == "words":
        return f"     {event.text}"
    if event.kind == "command":
        return f"   * {SAID[event.text]}"
    if event.kind == "read back":
        return f"   * {event.text or 'there is none yet'}"
    return f"{MARKS[event.level]}{LEADS[event.kind]}{event.text}"
