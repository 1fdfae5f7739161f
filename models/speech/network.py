"""The acoustic network: a factorised time-delay net (TDNN-F), one phone or blank per 30 ms.

Each layer multiplies a bottleneck matrix over frames (t - k, t), then a wide matrix over bottleneck
frames (t, t + k): see Povey et al., "Semi-orthogonal low-rank matrix factorization for deep neural
networks", Interspeech 2018. Layers before the subsampling work on 10 ms frames, the rest on 30 ms.
"""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass

import torch
import torch.nn.functional as functional
from torch import nn

from .features import FILTERS
from .phones import OUTPUTS

BYPASS = 0.66  # share of a layer's input added to its output, as in Kaldi's TDNN-F recipes
SUBSAMPLING = 3
BATCH_NORM = {"eps": 1e-3, "affine": False, "momentum": 0.05}


@dataclass(frozen=True, slots=True)
class Shape:
    """Sizes of a network. ``low`` and ``high`` give each layer's time step k, in its own frames."""

    width: int = 768
    bottleneck: int = 64
    low: tuple[int, ...] = (1, 1, 1, 0)
    high: tuple[int, ...] = (1,) * 10
    last: int = 192
    outputs: int = OUTPUTS

    def context(self) -> int:
        """Frames of 10 ms that an output sees on each side."""
        return 1 + sum(self.low) + SUBSAMPLING * sum(self.high)


def _shift(frames: torch.Tensor, left: int, right: int) -> torch.Tensor:
    """Pads time by repeating the edge frames: Kaldi does the same at the ends of a recording."""
    return functional.pad(frames.transpose(1, 2), (left, right), mode="replicate").transpose(1, 2)


class FactorisedLayer(nn.Module):
    """(batch, frames, width) -> the same shape."""

    def __init__(self, width: int, bottleneck: int, step: int, dropout: float) -> None:
        super().__init__()
        self.step = step
        spliced = 2 if step else 1
        self.narrow = nn.Linear(width * spliced, bottleneck, bias=False)
        self.wide = nn.Linear(bottleneck * spliced, width)
        self.norm = nn.BatchNorm1d(width, **BATCH_NORM)
        self.dropout = nn.Dropout(dropout)

    def _spliced(self, frames: torch.Tensor) -> torch.Tensor:
        if not self.step:
            return self.wide(self.narrow(frames))
        before = _shift(frames, self.step, 0)[:, : -self.step]
        narrow = self.narrow(torch.cat([before, frames], 2))
        after = _shift(narrow, 0, self.step)[:, self.step :]
        return self.wide(torch.cat([narrow, after], 2))

    def forward(self, frames: torch.Tensor) -> torch.Tensor:
        active = functional.relu(self._spliced(frames))
        normed = self.norm(active.transpose(1, 2)).transpose(1, 2)
        return self.dropout(normed) + BYPASS * frames


class AcousticNetwork(nn.Module):
    """Log-mel frames (batch, frames, 40) -> logits (batch, ceil(frames / 3), outputs)."""

    def __init__(self, shape: Shape = Shape(), dropout: float = 0.05) -> None:
        super().__init__()
        self.shape = shape
        self.first = nn.Linear(3 * FILTERS, shape.width)
        self.first_norm = nn.BatchNorm1d(shape.width, **BATCH_NORM)
        layer = lambda step: FactorisedLayer(shape.width, shape.bottleneck, step, dropout)  # noqa: E731
        self.low = nn.ModuleList(layer(step) for step in shape.low)
        self.high = nn.ModuleList(layer(step) for step in shape.high)
        self.last = nn.Linear(shape.width, shape.last)
        self.out = nn.Linear(shape.last, shape.outputs)
        self.register_buffer("mean", torch.zeros(FILTERS))
        self.register_buffer("inverse_deviation", torch.ones(FILTERS))

    def forward(self, filter_bank: torch.Tensor) -> torch.Tensor:
        frames = (filter_bank - self.mean) * self.inverse_deviation
        padded = _shift(frames, 1, 1)
        spliced = torch.cat([padded[:, :-2], padded[:, 1:-1], padded[:, 2:]], 2)
        hidden = functional.relu(self.first(spliced))
        hidden = self.first_norm(hidden.transpose(1, 2)).transpose(1, 2)
        for layer in self.low:
            hidden = layer(hidden)
        hidden = hidden[:, ::SUBSAMPLING]
        for layer in self.high:
            hidden = layer(hidden)
        return self.out(self.last(hidden))


def save(network: AcousticNetwork, path: str) -> None:
    """Writes half-precision weights and the shape."""
    weights = {
        name: value.half() if value.is_floating_point() else value
        for name, value in network.state_dict().items()
    }
    torch.save({"shape": asdict(network.shape), "weights": weights}, path + ".new")
    os.replace(path + ".new", path)  # whoever looks finds it whole


def load(path: str) -> AcousticNetwork:
    """Reads what ``save`` wrote, as single precision."""
    stored = torch.load(path, map_location="cpu")
    network = AcousticNetwork(Shape(**{k: _tupled(v) for k, v in stored["shape"].items()}))
    network.load_state_dict(
        {k: v.float() if v.is_floating_point() else v for k, v in stored["weights"].items()}
    )
    return network


def _tupled(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def widen(
    network: AcousticNetwork, width: int, bottleneck: int, noise: float = 0.02
) -> AcousticNetwork:
    """A wider network that computes the same function, but for noise.

    Added channels are copies of random old ones, and the weights that read a channel are shared
    out among its copies (Chen et al., "Net2Net", ICLR 2016); the noise, relative to each matrix's
    own deviation, lets copies grow apart. The bypass keeps one order of channels in all layers.
    """
    old = network.shape
    wide = AcousticNetwork(Shape(width, bottleneck, old.low, old.high, old.last, old.outputs))
    outer, state = _copies(old.width, width), {}
    source, target = network.state_dict(), wide.state_dict()
    for name, value in source.items():
        layer, _, kind = name.rpartition(".")
        if kind == "num_batches_tracked" or value.shape == target[name].shape:
            state[name] = value
        elif layer.endswith(".narrow"):
            inner = _copies(old.bottleneck, bottleneck)
            state[name] = _spread(value, outer, old.width)[inner]
            after = f"{layer.removesuffix('.narrow')}.wide.weight"
            state[after] = _spread(source[after], inner, old.bottleneck)[outer]
        elif name not in state:
            read = value.dim() == 2 and value.shape[1] == old.width
            state[name] = _spread(value, outer, old.width) if read else value[outer]
    for name, value in state.items():
        if value.dim() == 2 and value.shape != source[name].shape:
            state[name] = value + noise * value.std() * torch.randn_like(value)
    wide.load_state_dict(state)
    return wide


def _copies(old: int, new: int) -> torch.Tensor:
    """Which old channel each new one copies: all old ones, then random ones."""
    return torch.cat([torch.arange(old), torch.randint(0, old, (new - old,))])


def _spread(matrix: torch.Tensor, channels: torch.Tensor, old: int) -> torch.Tensor:
    """Columns copied, their weights shared out; spliced inputs lie frame after frame."""
    frames = matrix.reshape(len(matrix), -1, old)
    counts = torch.bincount(channels, minlength=old)
    return (frames / counts)[:, :, channels].reshape(len(matrix), -1)
