"""Does memory stay flat over many takes?

    python -m tests.benchmarks.takes --times 1000

Takes the committed test clips one after the other in one process, each into a logbook, and prints
the resident memory on the way.
"""

from __future__ import annotations

import os
import tempfile
from itertools import cycle, islice
from pathlib import Path

import click

from talklog.logbook.store import Logbook
from talklog.pipeline import record_of
from talklog.recognise import Recogniser

CLIPS = Path(__file__).parents[2] / "models" / "evaluation" / "audio" / "test"
STEP = 100


def resident() -> float:
    """Resident memory of this process in MB (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@click.command()
@click.option("--times", default=1000, show_default=True)
def main(times: int) -> None:
    """Take clips and print the memory."""
    clips = sorted(path for path in CLIPS.rglob("*") if path.suffix in (".flac", ".opus", ".ogg"))
    recogniser = Recogniser()
    with tempfile.TemporaryDirectory() as folder, Logbook.open(Path(folder) / "b.db") as book:
        for number, clip in enumerate(islice(cycle(clips), times), 1):
            record = record_of(recogniser.hear(clip))
            book.add(record, audio=clip, name=clip.name)
            if number % STEP == 0 or number == 1:
                click.echo(f"{number:6} takes  {resident():7.0f} MB")


if __name__ == "__main__":
    main()
