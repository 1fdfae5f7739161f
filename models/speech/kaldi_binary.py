"""Just enough of Kaldi's binary model format: write an nnet3 model, read the matrices of one.

A token is ASCII text and a space; an int32 or float32 is preceded by its size in bytes; a matrix is
``FM`` (float) or ``CM`` (one byte a value, with four percentiles per column: Kaldi's
compressed-matrix.h describes the layout).
"""

from __future__ import annotations

import itertools
import re
import struct
from pathlib import Path
from typing import BinaryIO

import numpy as np


class BinaryWriter:
    """Writes Kaldi tokens and numbers to an open binary file, which it starts with ``\\0B``."""

    def __init__(self, file: BinaryIO) -> None:
        self.file = file
        file.write(b"\0B")

    def tokens(self, *names: str) -> None:
        for name in names:
            self.file.write(name.encode() + b" ")

    def integer(self, value: int) -> None:
        self.file.write(b"\4" + struct.pack("<i", value))

    def number(self, value: float) -> None:
        self.file.write(b"\4" + struct.pack("<f", value))

    def double(self, value: float) -> None:
        self.file.write(b"\10" + struct.pack("<d", value))

    def boolean(self, *, value: bool) -> None:
        self.file.write(b"T" if value else b"F")

    def integers(self, values: list[int]) -> None:
        self.file.write(b"\4" + struct.pack("<i", len(values)))
        self.file.write(np.asarray(values, "<i4").tobytes())

    def vector(self, values: np.ndarray) -> None:
        values = np.asarray(values, "<f4")
        self.tokens("FV")
        self.integer(len(values))
        self.file.write(values.tobytes())

    def matrix(self, values: np.ndarray) -> None:
        values = np.ascontiguousarray(values, "<f4")
        self.tokens("FM")
        self.integer(values.shape[0])
        self.integer(values.shape[1])
        self.file.write(values.tobytes())

    def compressed_matrix(self, values: np.ndarray) -> None:
        """One byte a value: three straight lines between four percentiles of each column."""
        values = np.asarray(values, np.float64)
        rows, columns = values.shape
        low = values.min()
        span = max(values.max() - low, 1e-5 + abs(low) * 1e-6)
        marks = _column_percentiles(values, low, span)
        codes = _column_codes(values, low + span / 65535.0 * marks)
        self.tokens("CM")
        self.file.write(struct.pack("<ffii", low, span, rows, columns))
        self.file.write(marks.T.astype("<u2").tobytes())
        self.file.write(codes.T.astype(np.uint8).tobytes())


def _column_percentiles(values: np.ndarray, low: float, span: float) -> np.ndarray:
    """The 0, 25, 75 and 100 % values of each column as 16-bit steps, kept strictly rising."""
    ordered = np.sort(values, axis=0)
    rows = len(ordered)
    picks = ordered[[0, rows // 4, 3 * (rows // 4), rows - 1]]
    marks = np.clip(np.floor((picks - low) / span * 65535 + 0.499), 0, 65535).astype(np.int64)
    marks[0] = np.minimum(marks[0], 65532)
    marks[1] = np.clip(marks[1], marks[0] + 1, 65533)
    marks[2] = np.clip(marks[2], marks[1] + 1, 65534)
    marks[3] = np.maximum(marks[3], marks[2] + 1)
    return marks


def _column_codes(values: np.ndarray, marks: np.ndarray) -> np.ndarray:
    p0, p25, p75, p100 = marks
    lower = np.floor((values - p0) / (p25 - p0) * 64 + 0.5).clip(0, 64)
    middle = (64 + np.floor((values - p25) / (p75 - p25) * 128 + 0.5)).clip(64, 192)
    upper = (192 + np.floor((values - p75) / (p100 - p75) * 63 + 0.5)).clip(192, 255)
    return np.where(values < p25, lower, np.where(values >= p75, upper, middle))


FIELDS = ("LinearParams", "BiasParams", "Params", "StatsMean", "StatsVar", "Scales")


def read_components(path: str) -> dict[str, dict[str, np.ndarray]]:
    """Matrices and vectors of every component of a binary nnet3 model, by component name.

    Raises ValueError on a matrix kind other than FM, CM and FV.
    """
    data = Path(path).read_bytes()
    starts = [match.start() for match in re.finditer(rb"<ComponentName> ", data)] + [len(data)]
    components = {}
    for start, end in itertools.pairwise(starts):
        name = data[start + 16 : data.index(b" ", start + 16)].decode()
        components[name] = _fields(data, start, end)
    return components


def _fields(data: bytes, start: int, end: int) -> dict[str, np.ndarray]:
    found = {}
    for field in FIELDS:
        at = data.find(f"<{field}> ".encode(), start, end)
        if at >= 0:
            found[field] = _array(data, at + len(field) + 3)
    return found


def _array(data: bytes, at: int) -> np.ndarray:
    kind = data[at : at + 3]
    if kind == b"FM ":
        rows, columns = (struct.unpack_from("<i", data, at + offset)[0] for offset in (4, 9))
        return np.frombuffer(data, "<f4", rows * columns, at + 13).reshape(rows, columns)
    if kind == b"FV ":
        return np.frombuffer(data, "<f4", struct.unpack_from("<i", data, at + 4)[0], at + 8)
    if kind == b"CM ":
        return _uncompressed(data, at + 3)
    raise ValueError(f"matrix kind {kind!r} at byte {at} cannot be read; only FM, CM and FV can")


def _uncompressed(data: bytes, at: int) -> np.ndarray:
    """The inverse of ``BinaryWriter.compressed_matrix``, to within its rounding."""
    low, span, rows, columns = struct.unpack_from("<ffii", data, at)
    marks = np.frombuffer(data, "<u2", 4 * columns, at + 16).reshape(columns, 4).astype(np.float64)
    codes = np.frombuffer(data, np.uint8, rows * columns, at + 16 + 8 * columns)
    codes = codes.reshape(columns, rows).T.astype(np.float64)
    p0, p25, p75, p100 = (low + span / 65535.0 * marks).T
    lower = p0 + (p25 - p0) * codes / 64
    middle = p25 + (p75 - p25) * (codes - 64) / 128
    upper = p75 + (p100 - p75) * (codes - 192) / 63
    found = np.where(codes <= 64, lower, np.where(codes <= 192, middle, upper))
    return found.astype(np.float32)
