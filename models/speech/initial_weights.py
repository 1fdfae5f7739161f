"""Start a network from the TDNN-F of another Vosk model: sounds carry over between languages.

    python -m models.speech.initial_weights SOURCE/am/final.mdl start.pt

The source must have 40 MFCC inputs, an LDA layer over three frames, and layers ``tdnn1`` and
``tdnnf2`` to ``tdnnf15`` of width 768 and bottleneck 64. Its i-vector input is set to zero, its
outputs (the sounds of its language) are dropped; the MFCC transform is undone so that our network
reads log-mel energies.
"""

from __future__ import annotations

import sys

import numpy as np
import torch

from .cepstrum import mfcc_of_log_mel
from .features import FILTERS
from .kaldi_binary import read_components
from .network import AcousticNetwork, save

Components = dict[str, dict[str, np.ndarray]]


def _first_layer(source: Components) -> dict[str, np.ndarray]:
    lda, affine = source["lda"], source["tdnn1.affine"]
    weight = affine["LinearParams"] @ lda["LinearParams"][:, : 3 * FILTERS]
    bias = affine["LinearParams"] @ lda["BiasParams"] + affine["BiasParams"]
    frames = np.split(weight, 3, axis=1)
    norm = source["tdnn1.batchnorm"]
    return {
        "first.weight": np.concatenate([frame @ mfcc_of_log_mel() for frame in frames], 1),
        "first.bias": bias,
        "first_norm.running_mean": norm["StatsMean"],
        "first_norm.running_var": norm["StatsVar"],
    }


def _layer(source: Components, ours: str, theirs: str) -> dict[str, np.ndarray]:
    return {
        f"{ours}.narrow.weight": source[f"{theirs}.linear"]["LinearParams"],
        f"{ours}.wide.weight": source[f"{theirs}.affine"]["LinearParams"],
        f"{ours}.wide.bias": source[f"{theirs}.affine"]["BiasParams"],
        f"{ours}.norm.running_mean": source[f"{theirs}.batchnorm"]["StatsMean"],
        f"{ours}.norm.running_var": source[f"{theirs}.batchnorm"]["StatsVar"],
    }


def transfer(source: Components) -> AcousticNetwork:
    """A network with the source's weights everywhere but in its last two layers."""
    network = AcousticNetwork()
    lows = len(network.shape.low)
    weights = _first_layer(source)
    for index in range(lows + len(network.shape.high)):
        ours = f"low.{index}" if index < lows else f"high.{index - lows}"
        weights |= _layer(source, ours, f"tdnnf{index + 2}")
    state = network.state_dict()
    state |= {name: torch.tensor(np.array(value, np.float32)) for name, value in weights.items()}
    network.load_state_dict(state)
    return network


if __name__ == "__main__":
    save(transfer(read_components(sys.argv[1])), sys.argv[2])
