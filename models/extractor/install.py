"""Puts a trained pipeline's weights where talklog loads them from.

python -m models.extractor.install models/extractor/work/out/model-best
"""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from talklog.trained import FOLDER

READERS, FILES = ("span_reader", "role_reader"), ("cfg", "model")


@click.command()
@click.argument("trained", type=click.Path(exists=True, file_okay=False, path_type=Path))
def main(trained: Path) -> None:
    """Copies the weights of both readers into the package."""
    for reader in READERS:
        (FOLDER / reader).mkdir(parents=True, exist_ok=True)
        for name in FILES:
            shutil.copyfile(trained / reader / name, FOLDER / reader / name)
    click.echo(f"weights copied to {FOLDER}")


if __name__ == "__main__":
    main()
