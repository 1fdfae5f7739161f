"""Speak the test sentences with the voices kept out of training.

    python -m models.evaluation.make_clips KOKORO_DIR --tables MISAKI_DATA

Writes models/evaluation/audio/test/ID-VOICE.ogg; every sentence is spoken by two voices in turn.
"""

from __future__ import annotations

import random
from pathlib import Path

import click
import soundfile

from .make_samples import RATE, Speaker

HERE = Path(__file__).parent
VOICES = (("am_liam", "us"), ("bf_lily", "gb"), ("af_nova", "us"), ("bm_lewis", "gb"))


@click.command(help=__doc__)
@click.argument("kokoro", type=click.Path(path_type=Path, exists=True))
@click.option("--tables", type=click.Path(path_type=Path, exists=True), required=True)
def main(kokoro: Path, tables: Path) -> None:
    speaker = Speaker(kokoro, tables)
    out = HERE / "audio" / "test"
    out.mkdir(parents=True, exist_ok=True)
    lines = (HERE / "sentences" / "test.tsv").read_text(encoding="utf-8").splitlines()
    for index, line in enumerate(lines):
        name, words = line.split("\t")[:2]
        for voice, accent in (VOICES[index % 4], VOICES[(index + 1) % 4]):
            sound = speaker.say(words, voice, accent, random.Random(name + voice))
            soundfile.write(out / f"{name}-{voice}.ogg", sound, RATE, format="OGG", subtype="OPUS",
                            compression_level=0.9)


if __name__ == "__main__":
    main()
