"""Read a shipped acoustic model back into PyTorch, so that its training can go on.

    python -m models.speech.restored MODEL_DIR network.pt --clips DATA --noise NOISE

MODEL_DIR/am/final.mdl must come from ``export``. DATA and NOISE are arrays that ``clips`` wrote.

``export`` keeps the deviation of each batch norm apart but folds its mean into the biases that
follow, where it cannot be found again. A network restored without DATA has means of zero: the
same outputs, yet not in training, which takes means from the batch. So the means are measured
on DATA, disturbed as in training, and taken out of the biases again.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import click
import numpy as np
import torch

from . import network
from .cepstrum import mfcc_of_log_mel
from .kaldi_binary import read_components

Components = dict[str, dict[str, np.ndarray]]
SECONDS = 200  # of sound in a batch
BATCHES = 6


def restored(path: Path, batches: Iterable[torch.Tensor] = ()) -> network.AcousticNetwork:
    """The network that ``export`` wrote to ``path``, a final.mdl, but for a bias on blanks.

    ``batches`` are log-mel features, (batch, frames, filters), to measure the means of the batch
    norms on. Their variances are the ones that the network was trained with.
    """
    parts = read_components(str(path))
    sources = dict(
        re.findall(
            r"component-node name=(\S+) component=\S+ input=(.*)",
            path.read_bytes().decode("latin-1"),
        )
    )
    net = network.AcousticNetwork(_shape(parts, sources))
    state = net.state_dict() | {
        name: torch.tensor(np.asarray(value, np.float32))
        for name, value in _weights(parts, net).items()
    }
    net.load_state_dict(state)
    _set_means(net, _measured_means(net.eval(), batches))
    return net


def _shape(parts: Components, sources: dict[str, str]) -> network.Shape:
    def steps(prefix: str, rate: int) -> tuple[int, ...]:
        count = sum(bool(re.fullmatch(rf"{prefix}\d+\.narrow", name)) for name in parts)
        found = [
            re.search(r"Offset\(\S+, -(\d+)\)", sources[f"{prefix}{index}.narrow"])
            for index in range(count)
        ]
        return tuple(int(match[1]) // rate if match else 0 for match in found)

    outputs, last = parts["out"]["LinearParams"].shape
    return network.Shape(
        width=len(parts["first"]["BiasParams"]),
        bottleneck=len(parts["low0.narrow"]["BiasParams"]),
        low=steps("low", 1),
        high=steps("high", network.SUBSAMPLING),
        last=last,
        outputs=outputs,
    )


def _weights(parts: Components, net: network.AcousticNetwork) -> dict[str, np.ndarray]:
    """The state of a network whose batch norms have means of zero."""
    deviation = np.diag(parts["mel"]["LinearParams"].astype(np.float64) @ mfcc_of_log_mel())
    state = {"inverse_deviation": deviation, "mean": -parts["mel"]["BiasParams"] / deviation}
    state["first_norm.running_var"] = _variance(parts["first.scale"])
    state["first_norm.running_mean"] = np.zeros(net.shape.width)
    for name in ("first", "last", "out"):
        state[f"{name}.weight"] = parts[name]["LinearParams"]
        state[f"{name}.bias"] = parts[name]["BiasParams"]
    for prefix, layers in (("low", net.low), ("high", net.high)):
        for index in range(len(layers)):
            ours, theirs = f"{prefix}.{index}", f"{prefix}{index}"
            state[f"{ours}.narrow.weight"] = parts[f"{theirs}.narrow"]["LinearParams"]
            state[f"{ours}.wide.weight"] = parts[f"{theirs}.wide"]["LinearParams"]
            state[f"{ours}.wide.bias"] = parts[f"{theirs}.wide"]["BiasParams"]
            state[f"{ours}.norm.running_var"] = _variance(parts[f"{theirs}.scale"])
            state[f"{ours}.norm.running_mean"] = np.zeros(net.shape.width)
    return state


def _variance(part: dict[str, np.ndarray]) -> np.ndarray:
    return np.maximum(0, part["Scales"].astype(np.float64) ** -2 - network.BATCH_NORM["eps"])


def _norms(net: network.AcousticNetwork) -> list[torch.nn.BatchNorm1d]:
    return [net.first_norm, *(layer.norm for layer in (*net.low, *net.high))]


@torch.no_grad()
def _measured_means(
    net: network.AcousticNetwork, batches: Iterable[torch.Tensor]
) -> list[torch.Tensor]:
    """Mean of what each batch norm gets; empty when there are no batches."""
    norms, sums, count = _norms(net), {}, 0

    def add(norm: torch.nn.BatchNorm1d, inputs: tuple[torch.Tensor]) -> None:
        sums[norm] = sums.get(norm, 0) + inputs[0].double().mean((0, 2))

    hooks = [norm.register_forward_pre_hook(add) for norm in norms]
    for features in batches:
        net(features)
        count += 1
    for hook in hooks:
        hook.remove()
    return [sums[norm] / count for norm in norms] if count else []


@torch.no_grad()
def _set_means(net: network.AcousticNetwork, means: list[torch.Tensor]) -> None:
    """Gives the batch norms these means, and takes what that changes out of later biases.

    ``offset`` is what the means have added to a layer's input: ``export`` carries it likewise.
    """
    offset = torch.zeros(net.shape.width, dtype=torch.float64)
    layers = (None, *net.low, *net.high) if means else ()
    for norm, mean, layer in zip(_norms(net), means, layers, strict=False):
        if layer is not None:
            copies = 2 if layer.step else 1
            narrow = layer.narrow.weight.double() @ offset.repeat(copies)
            layer.wide.bias -= (layer.wide.weight.double() @ narrow.repeat(copies)).float()
        norm.running_mean.copy_(mean)
        scale = torch.rsqrt(norm.running_var.double() + norm.eps)
        offset = network.BYPASS * offset - norm.running_mean.double() * scale
    net.last.bias -= (net.last.weight.double() @ offset).float()


def _batches(data: str, noise: str) -> Iterable[torch.Tensor]:
    """Batches as training sees them."""
    from . import train

    trainer = train.Trainer(data, noise, "cpu", ramp_done=True, noisy_share=0.5)
    made = train.batches(trainer.train, SECONDS * train.SAMPLE_RATE, 0.3)
    for groups in made[:BATCHES]:
        yield trainer.features(groups, 1.0)[0]


@click.command(help=__doc__)
@click.argument("model", type=click.Path(path_type=Path, exists=True))
@click.argument("weights", type=click.Path())
@click.option("--clips", "data", help="Path that clips.py wrote, without suffix.")
@click.option("--noise", help="The same, of noise.")
def main(model: Path, weights: str, data: str | None, noise: str | None) -> None:
    batches = _batches(data, noise) if data and noise else ()
    network.save(restored(model / "am" / "final.mdl", batches), weights)


if __name__ == "__main__":
    main()
