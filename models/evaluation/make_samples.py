"""Make sample_audio/ anew from the texts in samples/: phrases, pauses and, for some, noise.

    python -m models.evaluation.make_samples KOKORO_DIR --tables MISAKI_DATA

A text begins with "voice NAME ACCENT" and, if the note is noisy, "noise DECIBELS"; every other line
is a phrase. The voices are those kept out of all training. Pauses are 0.6 to 1.1 s of faint hiss.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import click
import numpy as np
import soundfile

from models.speech import synthetic_speech

RATE = 16_000
HISS = 2e-4  # of full scale: recorders are never digitally silent
SAMPLES = Path(__file__).parent / "samples"
OUT = Path(__file__).parents[2] / "sample_audio"


class Speaker:
    """Phrases -> 16 kHz samples, in one of Kokoro's voices."""

    def __init__(self, kokoro: Path, tables: Path) -> None:
        synthetic_speech._start_worker(str(kokoro))
        self.vocabulary = json.loads((kokoro / "vocab.json").read_text(encoding="utf-8"))["vocab"]
        self.sounds = {a: synthetic_speech.Pronouncer(tables, a) for a in ("gb", "us")}

    def say(
        self, words: str, voice: str, accent: str, chance: random.Random, *, speed: float = 0.95
    ) -> np.ndarray:
        spoken = words.split()
        text, _ = self.sounds[accent].sentence(spoken, dict.fromkeys(spoken, ""), chance)
        ids = [self.vocabulary[symbol] for symbol in text if symbol in self.vocabulary]
        return synthetic_speech.sound_of({"ids": ids, "voice": {voice: 1.0}, "speed": speed})


def workshop_noise(length: int, seed: int) -> np.ndarray:
    """A compressor's hum with harmonics, rushing air, and a hammer blow now and then."""
    chance = np.random.default_rng(seed)
    time = np.arange(length) / RATE
    hum = sum(np.sin(2 * np.pi * 49 * k * time + k) / k for k in range(1, 9))
    noise = 0.5 * hum + chance.normal(size=length)
    for start in range(RATE, length - 4_000, 3 * RATE):
        noise[start : start + 4_000] += (
            6 * chance.normal(size=4_000) * np.exp(-np.arange(4_000) / 500)
        )
    return noise / np.sqrt((noise**2).mean())


def make(path: Path, speaker: Speaker) -> None:
    """Writes one sample as 16-bit FLAC."""
    lines = path.read_text(encoding="utf-8").splitlines()
    settings = dict(line.split(" ", 1) for line in lines if line.startswith(("voice ", "noise ")))
    voice, accent = settings["voice"].split()
    chance = random.Random(path.stem)
    pieces = [np.zeros(RATE // 2)]
    for line in lines:
        if not line.startswith(("voice ", "noise ")):
            pieces += [
                speaker.say(line, voice, accent, chance),
                np.zeros(int(chance.uniform(0.6, 1.1) * RATE)),
            ]
    sound = np.concatenate(pieces)
    rms = np.sqrt((sound[np.abs(sound) > 1e-3] ** 2).mean())
    sound = sound + HISS * np.random.default_rng(1).normal(size=len(sound))
    if "noise" in settings:
        sound += workshop_noise(len(sound), 7) * rms * 10 ** (-float(settings["noise"]) / 20)
    soundfile.write(OUT / f"{path.stem}.flac", sound.clip(-1, 1), RATE, subtype="PCM_16")
    click.echo(f"{path.stem}: {len(sound) / RATE:.0f} s")


@click.command(help=__doc__)
@click.argument("kokoro", type=click.Path(path_type=Path, exists=True))
@click.option("--tables", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--only", default="*", help="Name of one sample.")
def main(kokoro: Path, tables: Path, only: str) -> None:
    speaker = Speaker(kokoro, tables)
    for path in sorted(SAMPLES.glob(f"{only}.txt")):
        make(path, speaker)


if __name__ == "__main__":
    main()
