"""How well talklog hears: word error, readings right, readings silently wrong.

    python -m models.evaluation.evaluate [--model DIR] [--noise 10]

Decodes models/evaluation/audio/test (sentences written by hand, four voices that no training has
heard) through the whole program. A reading is right when value and unit are both right, in order;
silently wrong when another value or unit is given and not marked unsure. Word error is
(substitutions + deletions + insertions) / reference words, by jiwer.
"""

from __future__ import annotations

import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path

import click
import jiwer
import numpy as np
import soundfile

from talklog.assemble import understand
from talklog.notes import Notes
from talklog.recognise import Recogniser

HERE = Path(__file__).parent
AUDIO, SENTENCES = HERE / "audio" / "test", HERE / "sentences" / "test.tsv"
Value = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Scored:
    """One clip: what was said and heard, and its readings."""

    voice: str
    said: str
    heard: str
    expected: tuple[Value, ...]
    sure: tuple[Value, ...]
    unsure: int
    seconds: float
    work: float

    @property
    def right(self) -> int:
        """Expected readings found among the sure ones, in order (longest common subsequence)."""
        row = [0] * (len(self.sure) + 1)
        for wanted in self.expected:
            before = 0
            for index, got in enumerate(self.sure, 1):
                kept = row[index]
                row[index] = before + 1 if wanted == got else max(row[index], row[index - 1])
                before = kept
        return row[-1]

    @property
    def wrong(self) -> int:
        """Sure readings that nobody said."""
        return len(self.sure) - self.right


def sentences() -> dict[str, tuple[str, tuple[Value, ...]]]:
    """Spoken words and expected (value, unit) pairs, by sentence id."""
    table = {}
    for line in SENTENCES.read_text(encoding="utf-8").splitlines():
        name, words, readings = line.split("\t")
        pairs = [tuple(text.split(" ")) for text in readings.split(" | ") if text]
        table[name] = (words, tuple(pairs))
    return table


def values(notes: Notes) -> tuple[tuple[Value, ...], int]:
    """Sure (value, unit) pairs in order, and how many are unsure.

    Only readings count: a value that was heard word for word but set aside, or given no component
    and unit, is missing here. The figure is that of the whole program, not of hearing alone.
    """
    sure = [(r.said, r.unit or "") for r in notes.readings if r.doubt is None]
    return tuple(sure), len(notes.readings) - len(sure) + len(notes.unsure)


def score(path: Path, recogniser: Recogniser, expected: tuple[str, tuple[Value, ...]]) -> Scored:
    began = time.monotonic()
    transcript = recogniser.hear(path)
    work = time.monotonic() - began
    sure, unsure = values(understand(transcript))
    heard = " ".join(word.text for word in transcript.words)
    voice = path.stem.split("-", 1)[1]
    return Scored(
        voice, expected[0], heard, expected[1], sure, unsure, transcript.source.seconds or 0.0, work
    )


def noisy(path: Path, decibels: float, folder: Path) -> Path:
    """The clip with workshop noise so many decibels below the voice."""
    from .make_samples import workshop_noise

    sound, rate = soundfile.read(path)
    noise = workshop_noise(len(sound), sum(path.stem.encode()))
    loud = np.sqrt((sound[np.abs(sound) > 1e-3] ** 2).mean())
    out = folder / f"{path.stem}.wav"
    soundfile.write(out, (sound + noise * loud * 10 ** (-decibels / 20)).clip(-1, 1), rate)
    return out


def run(recogniser: Recogniser, paths: list[Path], decibels: float | None = None) -> list[Scored]:
    """Scores of the clips, in order."""
    table = sentences()
    with tempfile.TemporaryDirectory() as folder:
        return [
            score(
                noisy(path, decibels, Path(folder)) if decibels is not None else path,
                recogniser,
                table[path.stem.split("-")[0]],
            )
            for path in paths
        ]


def summary(scores: list[Scored]) -> dict[str, float]:
    """word_error, reading_accuracy, silently_wrong (share of expected readings), unsure, speed."""
    expected = sum(len(s.expected) for s in scores) or 1
    return {
        "clips": len(scores),
        "word_error": jiwer.wer([s.said for s in scores], [s.heard for s in scores]),
        "reading_accuracy": sum(s.right for s in scores) / expected,
        "silently_wrong": sum(s.wrong for s in scores) / expected,
        "unsure": sum(s.unsure for s in scores) / expected,
        "of_real_time": sum(s.work for s in scores) / sum(s.seconds for s in scores),
    }


@click.command(help=__doc__)
@click.option("--model", type=click.Path(path_type=Path))
@click.option("--noise", type=float, help="Decibels of workshop noise below the voice.")
@click.option("--show", is_flag=True, help="List the clips with a wrong or missing reading.")
def main(model: Path | None, noise: float | None, show: bool) -> None:
    scores = run(Recogniser(model), sorted(AUDIO.glob("*.ogg")), noise)
    groups = defaultdict(list)
    for item in scores:
        groups[item.voice].append(item)
    for name, group in [*sorted(groups.items()), ("all", scores)]:
        click.echo(f"{name:10s}" + "".join(f"  {k} {v:.3g}" for k, v in summary(group).items()))
    mistakes = Counter(
        f"{s.said}\n  {s.heard}\n  {s.sure}" for s in scores if s.wrong or s.right < len(s.expected)
    )
    for text in mistakes if show else ():
        click.echo(text)


if __name__ == "__main__":
    main()
