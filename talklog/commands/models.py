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
