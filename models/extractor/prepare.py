"""Corpus -> files that ``train`` reads: a note on each line, with its clues and what is right.

python -m models.extractor.prepare [--folder models/extractor/work]
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterable, Sequence
from functools import partial
from itertools import chain
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import click

from models.extractor.generated.generate import Made, make_notes
from models.extractor.gold import NOTHING, Names, gold_of, usual_names
from models.extractor.passages import Passage, load_split
from models.extractor.scoring import transcript_of
from models.extractor.varied import variants
from talklog.clues import find_clues, find_landmarks, find_pauses
from talklog.mentions import Mentions, find_mentions
from talklog.notearrays import ROLES
from talklog.numberclues import number_clues
from talklog.roled import RoledNumber
from talklog.roles import assign_roles

WORK = Path(__file__).parent / "work"


def line_of(passage: Passage, *, names: Names) -> dict[str, Any]:
    """The clues and labels of a passage."""
    line, mentions, roled = _line(passage.words, passage.pauses)
    return {**line, "gold": gold_of(passage, mentions, roled, names=names), "weight": None}


def made_line(made: Made, *, weight: float) -> dict[str, Any]:
    """Those of a generated note: only the roles of its numbers, at a smaller weight."""
    line, _, roled = _line(made.words, ())
    said = [made.roles[number.number.first] for number in roled]
    labels = [ROLES.index(role) if role else NOTHING for role in said]
    return {**line, "gold": {"roles": labels}, "weight": weight}


def _line(
    words: Sequence[str], pauses: Sequence[float]
) -> tuple[dict[str, Any], Mentions, tuple[RoledNumber, ...]]:
    transcript = transcript_of(words, pauses)
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    line = {
        "said": list(words),
        "words": find_clues(transcript, mentions, roled),
        "numbers": [[n.number.first, n.number.last, n.last] for n in roled],
        "number_clues": number_clues(transcript, mentions, roled),
        "landmarks": find_landmarks(transcript, mentions, roled),
        "pauses": find_pauses(transcript),
    }
    return line, mentions, roled


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=WORK)
@click.option("--made", default=300, show_default=True, help="Generated notes added to train.")
@click.option("--weight", default=0.15, show_default=True, help="What one of them counts.")
@click.option("--copies", default=3, show_default=True, help="Variants of each note of train.")
def main(folder: Path, made: int, weight: float, copies: int) -> None:
    """Writes train.jsonl.gz and dev.jsonl.gz."""
    folder.mkdir(parents=True, exist_ok=True)
    train, dev, paused = load_split("train"), load_split("dev"), load_split("train", paused=True)
    names = usual_names(train)
    line = partial(line_of, names=names)
    with Pool() as pool:
        _write(folder / "dev.jsonl.gz", pool.imap(line, dev))
        notes = chain(train, variants(paused, copies=copies, seed=1))
        lines = pool.imap(line, notes, chunksize=64)
        others = (made_line(note, weight=weight) for note in make_notes(made, seed=1))
        _write(folder / "train.jsonl.gz", chain(lines, others))


def _write(path: Path, lines: Iterable[dict[str, Any]]) -> None:
    count = 0
    with gzip.open(path, "wt", encoding="utf-8", compresslevel=6) as out:
        for line in lines:
            out.write(json.dumps(line, separators=(",", ":")) + "\n")
            count += 1
    click.echo(f"{path}: {count} notes")


if __name__ == "__main__":
    main()
