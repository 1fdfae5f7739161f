"""Blobs of compressed clips -> one array of samples in memory, decoded by all cores.

    python -m models.speech.clips OUT BLOB...      writes OUT.npy (int16, 16 kHz) and OUT.json

Beside every BLOB.bin lies BLOB.labels.jsonl: at, bytes, corpus, speaker, split, ph (phones with
spaces; empty for clips without a transcript, such as noise).
"""

from __future__ import annotations

import io
import json
import multiprocessing
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .features import SAMPLE_RATE
from .phones import outputs_of


@dataclass(frozen=True, slots=True)
class Clip:
    """A stretch of the sample array: ``samples`` values from ``at``, and what is said in it."""

    corpus: str
    speaker: str
    split: str
    outputs: tuple[int, ...]
    at: int
    samples: int


def _decode(task: tuple[str, int, int]) -> np.ndarray:
    import soundfile

    path, at, size = task
    with open(path, "rb") as blob:
        blob.seek(at)
        samples, rate = soundfile.read(io.BytesIO(blob.read(size)), dtype="int16", always_2d=True)
    if rate == 48_000:  # what libsndfile gives for Opus
        samples = _decimate(samples)
    elif rate != SAMPLE_RATE:
        raise ValueError(f"{path} at byte {at}: {rate} Hz; clips must be 16 kHz or Opus")
    return samples[:, 0]


def _decimate(samples: np.ndarray) -> np.ndarray:
    """48 to 16 kHz by a windowed sinc of 97 taps cut at 7.6 kHz."""
    taps = np.arange(-48, 49)
    low_pass = np.sinc(taps * 2 * 7_600 / 48_000) * np.hamming(97)
    mono = np.convolve(samples[:, 0].astype(np.float32), low_pass / low_pass.sum(), "same")[::3]
    return np.clip(np.round(mono), -32768, 32767).astype(np.int16)[:, None]


def unpack(out: str, blobs: list[str]) -> int:
    """Decodes every clip of the blobs; returns how many there were."""
    rows, tasks = [], []
    for blob in blobs:
        labels = Path(blob).with_suffix(".labels.jsonl").read_text(encoding="utf-8")
        for row in map(json.loads, labels.splitlines()):
            rows.append(row)
            tasks.append((blob, row["at"], row["bytes"]))
    with multiprocessing.Pool() as pool:
        pieces = pool.map(_decode, tasks, chunksize=32)
    index, at = [], 0
    for row, piece in zip(rows, pieces, strict=True):
        index.append(
            [
                row["corpus"],
                row["speaker"],
                row.get("split", "train"),
                outputs_of(row["ph"]),
                at,
                len(piece),
            ]
        )
        at += len(piece)
    np.save(out + ".npy", np.concatenate(pieces))
    Path(out + ".json").write_text(json.dumps(index), encoding="utf-8")
    return len(rows)


def read(out: str) -> tuple[np.ndarray, list[Clip]]:
    """What ``unpack`` wrote."""
    index = json.loads(Path(out + ".json").read_text(encoding="utf-8"))
    return np.load(out + ".npy"), [Clip(c, s, d, tuple(o), a, n) for c, s, d, o, a, n in index]


if __name__ == "__main__":
    print(unpack(sys.argv[1], sys.argv[2:]), "clips")
