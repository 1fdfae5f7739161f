"""``models``: the speech model, and where files are looked for."""

from __future__ import annotations

from pathlib import Path

import click

from talklog.commands.common import MODEL, write_out


@click.group(short_help="The speech model, and where files are looked for.")
def models() -> None:
    """Work with speech models."""


@models.command("where", short_help="Show which folders are used.")
@MODEL
def where(model: Path | None) -> None:
    """Show the speech model that would be used, and the folder of band sheets.

    \b
      talklog models where
    """
    from talklog.recognise import find_model
    from talklog.sheets import sheet_folder

    write_out(f"band sheets   {sheet_folder()}\n")
    write_out(f"speech model  {find_model(model)}\n")


@models.command("check-folder", short_help="Say whether a folder is a usable speech model.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def check_folder(folder: Path) -> None:
    """Check that a folder holds a speech model in Vosk's layout that can be loaded.

    \b
      talklog models check-folder ~/models/other-english
    """
    from talklog.recognise import VoskEngine, find_model

    engine = VoskEngine(find_model(folder))
    write_out(f"{folder}: good ({engine.name}, model {engine.model})\n")


@models.command("add-words", short_help="Teach a copy of the model your own words.")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder for the copy; if not given, NAME-own in the folder of this command. A copy that "
    "this command made before is replaced, anything else is left alone.",
)
@MODEL
def add_words_command(file: Path, out: Path | None, model: Path | None) -> None:
    """Put the names of your components into a copy of the speech model.

    FILE holds one name a line, of up to five words ("stern tube"). How it sounds is guessed, or
    given behind = in ARPAbet phones: wobble rod = W AA B AH L | R AA D

    \b
      talklog models add-words my-words.txt --out ~/models/own
      talklog take van.flac --model ~/models/own
    """
    from talklog.own_words.add import add_words, line
    from talklog.own_words.word_list import read_word_list
    from talklog.recognise import find_model

    names, folder = read_word_list(file), find_model(model)
    made = out or Path(f"{folder.name}-own")
    for added in add_words(folder, names, made):
        write_out(f"{line(added)}\n")
    write_out(f"{made}: hears {len(names)} names more. Use it with --model {made}\n")


@models.command("check", short_help="List the words that the model can never hear.")
@MODEL
def check(model: Path | None) -> None:
    """List talklog's own words (components, units, cues ...) that the speech model lacks.

    Such a word is understood when it is typed, and taken for another when it is spoken.

    \b
      talklog models check
      talklog models check --model ~/models/own
    """
    from talklog.own_words.unheard import unheard
    from talklog.recognise import find_model

    folder = find_model(model)
    for kind, words in unheard(folder).items():
        write_out(f"{kind}: {', '.join(words) or 'all can be heard'}\n")
