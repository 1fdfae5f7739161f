"""``bands``: work with band sheets."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from talklog.commands.common import write_out


@click.group(short_help="Band sheets: the limits of a machine.")
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
    write_out(f"{file}: good. {sheet.machine.name}: {len(sheet.bands)} bands{expected}.\n")
