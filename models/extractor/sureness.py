"""How sure is what was understood? Fits the model of ``talklog.sureness``, and its threshold.

    python -m models.extractor.sureness [--ask 0.74] [--trust 0.9]

Reads the notes of train whose authors the installed reader has not learned from (UNLEARNED), with
their pauses, takes every reading that no rule asks about for good, and fits a
logistic model of "value and unit are right" against the annotations. Readings that no rule asks
about are asked about below --ask, and a rule's doubt goes from --trust on: chosen on dev and check,
see models/extractor/README.md. Prints what other thresholds would give (chances of each note by
weights that have not seen it) and writes talklog/data/sureness.json. Some five minutes on two
cores; to be done again, with other notes than those learned from, whenever the reader changes.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import click
import numpy as np

from models.evaluation.fit_doubt import logistic
from talklog import sureness
from talklog.assemble import context_of
from talklog.mentions import find_mentions
from talklog.notes import Reading
from talklog.readings import make_reading
from talklog.roled import MEASURING
from talklog.trained import final_roles

from .passages import Passage, load_split
from .scoring import has_value_and_unit, transcript_of

DATA = Path(sureness.__file__).parent / "data" / "sureness.json"
UNLEARNED = ("briar", "clover", "lupin", "nettle", "teasel", "thistle", "vetch")
FOLDS = 5
SHOWN = ((0.0, 1.01), (0.7, 0.86), (0.74, 0.86), (0.74, 0.9), (0.8, 0.8), (0.85, 0.85), (0.85, 0.9))
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.01)


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading: what the model looks at (``None`` if a rule asks about it), and if it is right."""

    note: str
    features: dict[str, float] | None
    right: bool
    now: bool  # whether the rules alone ask about it


def judged(passage: Passage) -> list[Judged]:
    """The readings of a note, before the model had its say."""
    made = list(_readings(passage))
    right = has_value_and_unit(passage, [reading for reading, _ in made])
    return [
        Judged(passage.id, found, hit, reading.doubt is not None)
        for (reading, found), hit in zip(made, right, strict=True)
    ]


def _readings(passage: Passage) -> Iterator[tuple[Reading, dict[str, float] | None]]:
    transcript = transcript_of(passage.words, passage.pauses)
    mentions = find_mentions(transcript)
    roled, seen = final_roles(transcript, mentions)
    context = context_of(transcript, mentions, roled, seen)
    earlier: list[Reading] = []
    for item in context.roled:
        made = make_reading(context, item, earlier) if item.role in MEASURING else None
        if isinstance(made, Reading):
            open_ = made.doubt in (None, *sureness.GIVEN_UP)
            yield made, sureness.features(context, item, made, earlier) if open_ else None
            earlier.append(made)


# ---- fitting -------------------------------------------------------------------------------------


def table_of(found: Sequence[Judged]) -> tuple[np.ndarray, np.ndarray]:
    rows = [[one.features[name] for name in sureness.FEATURES] for one in found]
    return np.array(rows), np.array([one.right for one in found], float)


def held_out(found: Sequence[Judged]) -> np.ndarray:
    """The probability of each reading, by weights that have not seen its note."""
    rows, right = table_of(found)
    folds = np.array([sum(one.note.encode()) % FOLDS for one in found])
    chances = np.zeros(len(found))
    for fold in range(FOLDS):
        weights = logistic(rows[folds != fold], right[folds != fold])
        chances[folds == fold] = 1 / (1 + np.exp(-rows[folds == fold] @ weights))
    return chances


def report(found: Sequence[Judged], open_: Sequence[Judged], chances: np.ndarray) -> None:
    wrong = np.array([not one.right for one in open_])
    silent = sum(not one.now and not one.right for one in found) / len(found)
    asked = sum(one.now for one in found) / len(found)
    click.echo(
        f"{len(found)} readings; by the rules {asked:.1%} asked, {silent:.2%} silently wrong"
    )
    doubted = np.array([one.now for one in open_])
    always = len(found) - len(open_)
    for ask, trust in SHOWN:
        kept = chances >= np.where(doubted, trust, ask)
        click.echo(f"ask {ask}, trust {trust}: {(always + (~kept).sum()) / len(found):.1%} asked, "
                   f"{(wrong & kept).sum() / len(found):.2%} silently wrong")  # fmt: skip
    for low, high in pairwise(BINS):
        inside = (chances >= low) & (chances < high)
        if inside.any():
            click.echo(f"{low:.2f} to {min(high, 1):.2f}: {1 - wrong[inside].mean():.1%} right "
                       f"({inside.sum()})")  # fmt: skip


@click.command(help=__doc__)
@click.option("--ask", default=0.74, show_default=True, help="Asked about below.")
@click.option("--trust", default=0.9, show_default=True, help="A rule's doubt goes from here on.")
def main(ask: float, trust: float) -> None:
    passages = [
        passage
        for passage in load_split("train", paused=True)
        if passage.source.split("-")[0] in UNLEARNED
    ]
    with multiprocessing.Pool(2) as pool:
        found = [one for some in pool.imap(judged, passages, chunksize=20) for one in some]
    open_ = [one for one in found if one.features is not None]
    chances = held_out(open_)
    report(found, open_, chances)
    weights = logistic(*table_of(open_))
    named = dict(zip(sureness.FEATURES, weights.round(3).tolist(), strict=True))
    DATA.write_text(
        json.dumps({"ask": ask, "trust": trust, "weights": named}, indent=1) + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
