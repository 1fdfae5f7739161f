"""Puts a trained reader's weights where talklog loads them from.

python -m models.extractor.install [models/extractor/work/out]
"""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from models.extractor.prepare import WORK
from talklog.notereader import SETTINGS, WEIGHTS
from talklog.seen import FOLDER


@click.command()
@click.argument("trained", type=click.Path(path_type=Path), default=WORK / "out")
def main(trained: Path) -> None:
    """Copies the weights into the package."""
    for name in (SETTINGS, WEIGHTS):
        shutil.copyfile(trained / name, FOLDER / name)
    click.echo(f"weights copied to {FOLDER}")


if __name__ == "__main__":
    main()
