"""What is lost when annotated notes are spoken and heard instead of typed.

    python -m models.evaluation.spoken_notes KOKORO_DIR --tables MISAKI_DATA [--split dev]

Speaks notes of the extractor's corpus in the four voices kept out of training, a phrase at a time
(a phrase ends before a word that begins a new clause, never within a number), hears them with the
shipped model and compares the readings with the annotations, beside those of the typed words.
Clips stay in --clips, so that a second run only hears.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import jiwer
import numpy as np
import soundfile

from models.extractor.passages import SPLITS, Passage, load_split
from models.extractor.scoring import Tally, compare, transcript_of
from talklog.assemble import understand
from talklog.recognise import Recogniser

from .make_clips import HELD_OUT
from .make_samples import RATE, Speaker

LEAST, MOST = 6, 18  # words of a phrase
BEGINS = frozenset(
    (
        "and",
        "so",
        "but",
        "then",
        "which",
        "because",
        "with",
        "i",
        "it",
        "the",
        "that",
        "now",
        "book",
    )
)
MEASURES = ("all", "value unit component", "value unit")
PAUSE = (0.25, 0.6)  # seconds between phrases


def phrases(passage: Passage) -> Iterator[tuple[str, ...]]:
    """The words of a note, cut where a speaker may breathe."""
    numbers = {at for items in passage.lists.values() for item in items
               for at in range(item.first + 1, item.last + 1)}  # fmt: skip
    held: list[str] = []
    for at, word in enumerate(passage.words):
        ends = (len(held) >= LEAST and word in BEGINS) or len(held) >= MOST
        if ends and at not in numbers:
            yield tuple(held)
            held = []
        held.append(word)
    yield tuple(held)


def speak(passages: Sequence[Passage], clips: Path, kokoro: Path, tables: Path) -> None:
    """Writes a clip for each note that has none."""
    speaker = Speaker(kokoro, tables)
    for index, passage in enumerate(passages):
        path = clips / f"{passage.id}.ogg"
        if path.exists():
            continue
        voice, accent = HELD_OUT[index % len(HELD_OUT)]
        chance = random.Random(passage.id)
        pieces = [np.zeros(RATE // 2)]
        for words in phrases(passage):
            pieces.append(speaker.say(" ".join(words), voice, accent, chance))
            pieces.append(np.zeros(int(chance.uniform(*PAUSE) * RATE)))
        sound = np.concatenate(pieces)
        soundfile.write(path, sound, RATE, format="OGG", subtype="OPUS", compression_level=0.9)


def measured(passages: Sequence[Passage], clips: Path) -> tuple[Tally, Tally, float]:
    """Figures of the typed and of the heard notes, and the word error."""
    typed, heard, recogniser = Tally(), Tally(), Recogniser()
    said, got = [], []
    for passage in passages:
        transcript = recogniser.hear(clips / f"{passage.id}.ogg")
        typed.add(compare(passage, understand(transcript_of(passage.words, passage.pauses))))
        heard.add(compare(passage, understand(transcript)))
        said.append(" ".join(passage.words))
        got.append(" ".join(word.text for word in transcript.words))
    return typed, heard, jiwer.wer(said, got)


@click.command(help=__doc__)
@click.argument("kokoro", type=click.Path(path_type=Path, exists=True))
@click.option("--tables", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--only", default="", help="Passages whose file or id holds this.")
@click.option("--every", default=1, show_default=True, help="Only every so many of them.")
@click.option("--clips", type=click.Path(path_type=Path), default=Path("models/evaluation/work"))
def main(kokoro: Path, tables: Path, split: str, only: str, every: int, clips: Path) -> None:
    passages = [p for p in load_split(split) if only in f"{p.source} {p.id}"][::every]
    clips.mkdir(parents=True, exist_ok=True)
    speak(passages, clips, kokoro, tables)
    typed, heard, errors = measured(passages, clips)
    click.echo(f"{len(passages)} notes, word error {errors:.1%}")
    for measure in MEASURES:
        click.echo(f"{measure:24} typed {typed.f1(measure):.3f}  heard {heard.f1(measure):.3f}")


if __name__ == "__main__":
    main()
