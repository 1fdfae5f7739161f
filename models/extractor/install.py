"""Puts a trained reader's weights where talklog loads them from.

python -m models.extractor.install models/extractor/work/out/model-best
"""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from talklog.notereader import SETTINGS, WEIGHTS
from talklog.seen import FOLDER


@click.command()
@click.argument("trained", type=click.Path(exists=True, file_okay=False, path_type=Path))
def main(trained: Path) -> None:
    """Copies the weights into the package; the word vectors lie there already."""
    for name in (SETTINGS, WEIGHTS):
        shutil.copyfile(trained / "note_reader" / name, FOLDER / name)
    click.echo(f"weights copied to {FOLDER}")


if __name__ == "__main__":
    main()
