"""Corpora folders -> one blob of compressed clips and an index, fit to travel.

    python -m models.speech.pack CORPORA BLOB.bin INDEX.jsonl [--only NAME ...]

CORPORA holds one folder a corpus, each with clips and ``manifest.jsonl`` (audio, text, speaker or
voice, accent, seconds). Speakers of ``models/evaluation/held_out_speakers.txt`` and the voices kept
for testing never get in; those for development are marked. Each index line: corpus, speaker,
accent, text, split (train or dev), at, bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import click

TEST_VOICES = frozenset({"am_liam", "bm_lewis", "bf_lily", "af_nova"})
DEVELOPMENT = frozenset(
    {"am_eric", "bf_emma", "ls-163", "ls-1737", "an4-fash", "an4-fbbh", "so762-0024", "so762-0036"}
)
HELD_OUT_LIST = Path(__file__).parents[1] / "evaluation" / "held_out_speakers.txt"


def held_out_speakers() -> frozenset[str]:
    """Names of real speakers that must not be trained on."""
    lines = HELD_OUT_LIST.read_text(encoding="utf-8").splitlines()
    return frozenset(line.strip() for line in lines if line.strip() and not line.startswith("#"))


def _voices(speaker: str) -> set[str]:
    """The names in a mixture of voices such as "am_puck+af_sky"."""
    return set(speaker.replace(" ", "").split("+"))


def clips(corpora: Path, names: tuple[str, ...]) -> Iterator[tuple[dict, bytes]]:
    """Index entries (without their place) and the bytes of each clip that may be trained on."""
    banned = held_out_speakers() | TEST_VOICES
    for name in names:
        manifest = (corpora / name / "manifest.jsonl").read_text(encoding="utf-8")
        for line in manifest.splitlines():
            row = json.loads(line)
            speaker = str(row.get("speaker") or row.get("voice") or name)
            if not _voices(speaker) & banned:
                split = "dev" if _voices(speaker) & DEVELOPMENT else "train"
                entry = {
                    "corpus": name,
                    "speaker": speaker,
                    "accent": row.get("accent", "en-us"),
                    "text": row.get("text", ""),
                    "split": split,
                }
                yield entry, (corpora / name / row["audio"]).read_bytes()


@click.command(help=__doc__)
@click.argument("corpora", type=click.Path(path_type=Path, exists=True))
@click.argument("blob", type=click.Path(path_type=Path))
@click.argument("index", type=click.Path(path_type=Path))
@click.option("--only", multiple=True, required=True, help="Corpus folder to pack; repeat.")
def main(corpora: Path, blob: Path, index: Path, only: tuple[str, ...]) -> None:
    at = count = 0
    with blob.open("wb") as audio, index.open("w", encoding="utf-8") as rows:
        for entry, data in clips(corpora, only):
            audio.write(data)
            rows.write(json.dumps(entry | {"at": at, "bytes": len(data)}) + "\n")
            at, count = at + len(data), count + 1
    click.echo(f"{count} clips, {at / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
