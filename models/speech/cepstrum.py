"""The linear map between 40 log-mel energies and 40 MFCCs, as Kaldi computes them."""

from __future__ import annotations

import numpy as np

from .features import FILTERS

LIFTER = 22.0  # Kaldi's default cepstral lifter


def _transform() -> np.ndarray:
    """Orthonormal DCT-II, rows are cepstra."""
    order = np.arange(FILTERS)
    matrix = np.cos(np.pi / FILTERS * (order[None] + 0.5) * order[:, None]) * np.sqrt(2 / FILTERS)
    matrix[0] = np.sqrt(1 / FILTERS)
    return matrix


def _lift() -> np.ndarray:
    return 1 + 0.5 * LIFTER * np.sin(np.pi * np.arange(FILTERS) / LIFTER)


def mfcc_of_log_mel() -> np.ndarray:
    """Matrix M with ``mfcc = M @ log_mel``."""
    return _lift()[:, None] * _transform()


def log_mel_of_mfcc() -> np.ndarray:
    """The inverse of ``mfcc_of_log_mel``."""
    return _transform().T / _lift()[None]
