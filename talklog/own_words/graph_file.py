"""OpenFst's binary "vector" file of standard arcs: read and written whole, with numpy."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MAGIC = 2125659606
ARC = np.dtype([("input", "<i4"), ("output", "<i4"), ("weight", "<f4"), ("target", "<i4")])
EXPANDED_MUTABLE = 3  # property bits that every vector file has


@dataclass(slots=True)
class Fst:
    """``finals`` are costs, infinity when a state is not final; ``arcs`` one array a state."""

    start: int
    finals: list[float]
    arcs: list[np.ndarray]


def arcs(rows: list[tuple[int, int, float, int]]) -> np.ndarray:
    """(input, output, weight, target) tuples as an array."""
    return np.array(rows, ARC) if rows else np.zeros(0, ARC)


def read(path: Path) -> Fst:
    """Raises ValueError when the file is not a vector FST of standard arcs."""
    data = path.read_bytes()
    if struct.unpack_from("<i", data)[0] != MAGIC:
        raise ValueError(f"{path} is not an FST file")
    kind, at = _text(data, 4)
    weights, at = _text(data, at)
    if (kind, weights) != (b"vector", b"standard"):
        raise ValueError(f"{path} holds a {kind.decode()} FST of {weights.decode()} arcs")
    at += 8 + 8  # version and flags, properties
    start, states, _ = struct.unpack_from("<qqq", data, at)
    at += 24
    fst = Fst(start, [], [])
    for _ in range(states):
        final, count = struct.unpack_from("<fq", data, at)
        fst.finals.append(final)
        fst.arcs.append(np.frombuffer(data, ARC, count, at + 12).copy())
        at += 12 + ARC.itemsize * count
    return fst


def _text(data: bytes, at: int) -> tuple[bytes, int]:
    size = struct.unpack_from("<i", data, at)[0]
    return data[at + 4 : at + 4 + size], at + 4 + size


def write(path: Path, fst: Fst) -> int:
    """Returns the size in bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(struct.pack("<i", MAGIC))
        for text in (b"vector", b"standard"):
            file.write(struct.pack("<i", len(text)) + text)
        total = sum(map(len, fst.arcs))
        file.write(struct.pack("<iiQqqq", 2, 0, EXPANDED_MUTABLE, fst.start, len(fst.arcs), total))
        for final, rows in zip(fst.finals, fst.arcs, strict=True):
            file.write(struct.pack("<fq", final, len(rows)) + rows.tobytes())
        return file.tell()
