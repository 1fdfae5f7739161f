"""Does the logbook keep everything when it is killed? Many random moments, more than in the tests.

    python -m tests.benchmarks.kills --times 50 --watched 10

First a process that puts in, corrects and signs entries is killed again and again, then ``talklog
watch`` while it hears the sample recordings. After each kill the whole book is checked.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click

from talklog.logbook.store import Logbook
from tests.booked import killed_writer, what_was_lost

ROOT = Path(__file__).parents[2]
SAMPLES = sorted((ROOT / "sample_audio").glob("*.flac"))


def watch(folder: Path, book: Path, *, after: float | None) -> None:
    """Watch a folder once, to the end or killed after so many seconds."""
    command = [sys.executable, "-m", "talklog", "watch", str(folder), "--once", "--book", str(book)]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL, cwd=ROOT) as running:
        if after is not None:
            time.sleep(after)
            running.send_signal(signal.SIGKILL)


def kill_watching(folder: Path, times: int, chance: random.Random) -> list[str]:
    """Kill the watching so often, then let it end; what is wrong afterwards."""
    phone, book = folder / "phone", folder / "watched.db"
    phone.mkdir()
    for sample in SAMPLES:
        shutil.copyfile(sample, phone / sample.name)
    for _ in range(times):
        watch(phone, book, after=chance.uniform(0.5, 12))
        if problems := what_was_lost(book, set()):
            return problems
    watch(phone, book, after=None)
    with Logbook.open(book) as opened:
        names = sorted(entry.name for entry in opened.entries())
        wanted = [sample.name for sample in SAMPLES]
        return [] if names == wanted else [f"entries {names}, wanted {wanted}"]


@click.command()
@click.option("--times", default=50, show_default=True)
@click.option("--watched", default=10, show_default=True)
@click.option("--seed", default=1, show_default=True)
def main(times: int, watched: int, seed: int) -> None:
    """Kill, look, say what was lost; exit status 1 if anything was."""
    chance, finished = random.Random(seed), set()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.db"
        for _ in range(times):
            finished |= killed_writer(path, after=chance.uniform(0, 0.5))
        problems = what_was_lost(path, finished)
        told = f"{len(finished)} entries finished, {problems or 'all whole'}"
        click.echo(f"{times} kills while writing: {told}")
        problems += (found := kill_watching(Path(folder), watched, chance))
        click.echo(f"{watched} kills while watching: {found or 'whole, each recording once'}")
    sys.exit(1 if problems else 0)


if __name__ == "__main__":
    main()
