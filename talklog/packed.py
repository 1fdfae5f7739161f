"""Matrices in few bits: what a network learned, small enough to ship.

A matrix is kept as whole numbers, some of which share a scale: 4 bits and a scale for every 32
numbers of a row, or 8 bits and a scale for each row. Whoever trains rounds in the same way, so that
nothing is lost when the weights are written.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

FEW, MANY = 4, 8  # bits
GROUP = 32  # numbers that share a scale where there are few bits
LIFT = 2 ** (FEW - 1)  # what makes the few bits count from 0
SCALE, WHOLE, PLAIN = "scale:", "whole:", "plain:"  # what the names of stored arrays begin with


def pack(weights: Mapping[str, np.ndarray], bits: Mapping[str, int]) -> dict[str, np.ndarray]:
    """Arrays for ``numpy.savez``. Matrices named in ``bits`` are kept in so many (FEW or MANY; FEW
    needs rows of a multiple of GROUP), all others in half precision."""
    stored: dict[str, np.ndarray] = {}
    for name, weight in weights.items():
        if name not in bits:
            stored[PLAIN + name] = weight.astype("float16")
            continue
        scale, whole = rounded(weight, bits[name])
        whole = whole.astype("int8").reshape(weight.shape)
        stored[SCALE + name] = scale.astype("float16")
        stored[WHOLE + name] = _halves_joined(whole) if bits[name] == FEW else whole
    return stored


def unpack(stored: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What ``pack`` stored, in single precision. Raises KeyError or ValueError for other arrays."""
    weights: dict[str, np.ndarray] = {}
    for key in stored:
        name = key.partition(":")[2]
        if key.startswith(PLAIN):
            weights[name] = stored[key].astype("float32")
        elif key.startswith(WHOLE):
            weights[name] = _scaled(stored[key], stored[SCALE + name].astype("float32"))
    return weights


def rounded(weight: Any, bits: int) -> tuple[Any, Any]:
    """The scales (groups, 1) and the whole numbers (groups, numbers of a group) of a matrix, an
    array of NumPy or a tensor of PyTorch."""
    most = 2 ** (bits - 1) - 1
    groups = weight.reshape(-1, GROUP if bits == FEW else weight.shape[-1])
    largest = abs(groups).max(-1)
    largest = largest if isinstance(largest, np.ndarray) else largest.values
    scale = largest[:, None] / most + 1e-7
    return scale, (groups / scale).round()


def _scaled(whole: np.ndarray, scale: np.ndarray) -> np.ndarray:
    if whole.dtype == np.uint8:
        whole = _halves_parted(whole)
    rows = whole.reshape(len(scale), -1) * scale
    return rows.reshape(len(whole), -1)


def _halves_joined(whole: np.ndarray) -> np.ndarray:
    """Two numbers of -7 .. 7 in a byte."""
    lifted = (whole + LIFT).astype("uint8")
    return lifted[:, 0::2] << FEW | lifted[:, 1::2]


def _halves_parted(joined: np.ndarray) -> np.ndarray:
    whole = np.empty((len(joined), 2 * joined.shape[1]), dtype="float32")
    whole[:, 0::2], whole[:, 1::2] = joined >> FEW, joined & (2**FEW - 1)
    return whole - LIFT
