"""What is lost when annotated notes are spoken and heard instead of typed.

    python -m models.evaluation.spoken_notes KOKORO_DIR --tables MISAKI_DATA [--split dev]

Speaks notes of the extractor's corpus in the four voices kept out of training, with the pauses that
a reader of each note marked, hears them with the shipped model and compares the readings with the
annotations, beside those of the words alone and of the words with these pauses. Clips stay in
--clips, so that a second run only hears.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import jiwer
import numpy as np
import soundfile

from models.extractor.passages import SECONDS, SPLITS, Passage, load_split
from models.extractor.scoring import Tally, compare, transcript_of
from talklog.assemble import understand
from talklog.recognise import Recogniser

from .make_clips import HELD_OUT
from .make_samples import RATE, Speaker

WAYS = ("words alone", "with pauses", "heard")
MEASURES = ("all", "value unit component", "value unit", "actions", "findings")
LASTS = {SECONDS["short"]: (0.25, 0.7), SECONDS["long"]: (0.8, 1.4)}  # seconds of a pause


def phrases(passage: Passage) -> Iterator[tuple[tuple[str, ...], float]]:
    """The words of a note, cut where a reader of it heard the speaker pause, each part with the
    kind of the pause behind it, in seconds."""
    held: list[str] = []
    for word, pause in zip(passage.words, passage.pauses, strict=True):
        if pause and held:
            yield tuple(held), pause
            held = []
        held.append(word)
    yield tuple(held), SECONDS["long"]


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
        for words, pause in phrases(passage):
            pieces.append(speaker.say(" ".join(words), voice, accent, chance))
            pieces.append(np.zeros(int(chance.uniform(*LASTS[pause]) * RATE)))
        sound = np.concatenate(pieces)
        soundfile.write(path, sound, RATE, format="OGG", subtype="OPUS", compression_level=0.9)


def measured(passages: Sequence[Passage], clips: Path) -> tuple[dict[str, Tally], float]:
    """Figures of the words alone, with pauses, and as heard; and the word error."""
    tallies, recogniser = {name: Tally() for name in WAYS}, Recogniser()
    said, got = [], []
    for passage in passages:
        heard = recogniser.hear(clips / f"{passage.id}.ogg")
        ways = transcript_of(passage.words), transcript_of(passage.words, passage.pauses), heard
        for name, transcript in zip(WAYS, ways, strict=True):
            tallies[name].add(compare(passage, understand(transcript)))
        said.append(" ".join(passage.words))
        got.append(" ".join(word.text for word in heard.words))
    return tallies, jiwer.wer(said, got)


@click.command(help=__doc__)
@click.argument("kokoro", type=click.Path(path_type=Path, exists=True))
@click.option("--tables", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--only", default="", help="Passages whose file or id holds this.")
@click.option("--every", default=1, show_default=True, help="Only every so many of them.")
@click.option("--clips", type=click.Path(path_type=Path), default=Path("models/evaluation/work"))
def main(kokoro: Path, tables: Path, split: str, only: str, every: int, clips: Path) -> None:
    found = load_split(split, paused=True)
    passages = [p for p in found if only in f"{p.source} {p.id}" and p.pauses][::every]
    clips.mkdir(parents=True, exist_ok=True)
    speak(passages, clips, kokoro, tables)
    tallies, errors = measured(passages, clips)
    click.echo(f"{len(passages)} notes, word error {errors:.1%}")
    for measure in MEASURES:
        figures = "  ".join(f"{name} {own.f1(measure):.3f}" for name, own in tallies.items())
        click.echo(f"{measure:24} {figures}")


if __name__ == "__main__":
    main()
