"""Write a trained network as the acoustic part of a Vosk model folder.

    python -m models.speech.export network.pt MODEL_DIR [--blank-bias -1.0]

Makes am/final.mdl, conf/mfcc.conf and conf/model.conf; the graph is made by ``graph``. Only the
simplest nnet3 components are used (affine, ReLU, scale, sum). The offset of a batch norm is folded
into the affine transforms after it; its scale stays apart, because rows of very different size
would spoil the one-byte weights. The first affine turns MFCCs back into log-mel energies.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click
import numpy as np
import torch

from . import network
from .cepstrum import log_mel_of_mfcc
from .features import FILTERS, HIGH_HERTZ, LOW_HERTZ, SAMPLE_RATE
from .kaldi_binary import BinaryWriter
from .topology import write_transition_model

# Dither stays at Kaldi's default of 1: the network was trained with it, and exact digital silence
# would otherwise give energies it has never seen.
MFCC_CONF = f"""--use-energy=false
--num-mel-bins={FILTERS}
--num-ceps={FILTERS}
--low-freq={LOW_HERTZ:g}
--high-freq={HIGH_HERTZ:g}
--sample-frequency={SAMPLE_RATE}
--dither=1.0
"""
# Chunks of 60 frames (20 of output): with Kaldi's 20 most of the time goes into laying out the
# weights anew for each; longer ones would make live notes wait.
MODEL_CONF = """--min-active=200
--max-active={active}
--beam={beam}
--lattice-beam={lattice}
--acoustic-scale={scale}
--frame-subsampling-factor=3
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.8
--endpoint.rule3.min-trailing-silence=1.2
--endpoint.rule4.min-trailing-silence=2.0
--frames-per-chunk=60
"""

Writer = Callable[[BinaryWriter, str], None]


class Nnet3:
    """Collects components and the lines that connect them."""

    def __init__(self) -> None:
        self.lines = [f"input-node name=input dim={FILTERS}"]
        self.components: list[tuple[str, Writer]] = []

    def add(self, name: str, source: str, component: Writer) -> str:
        self.components.append((name, component))
        self.lines.append(f"component-node name={name} component={name} input={source}")
        return name

    def write(self, path: Path, context: int) -> None:
        with path.open("wb") as file:
            writer = BinaryWriter(file)
            write_transition_model(writer)
            writer.tokens("<Nnet3>")
            file.write(b"\n" + "\n".join(self.lines).encode() + b"\n\n")
            writer.tokens("<NumComponents>")
            writer.integer(len(self.components))
            for name, component in self.components:
                writer.tokens("<ComponentName>", name)
                component(writer, name)
            writer.tokens("</Nnet3>", "<LeftContext>")
            writer.integer(context)
            writer.tokens("<RightContext>")
            writer.integer(context)
            writer.tokens("<Priors>")
            writer.vector(np.zeros(0))


def affine(weight: np.ndarray, bias: np.ndarray, *, exact: bool = False) -> Writer:
    """An affine component; one byte a weight unless ``exact``."""

    def write(writer: BinaryWriter, _name: str) -> None:
        writer.tokens("<AffineComponent>", "<LearningRate>")
        writer.number(0.001)
        writer.tokens("<LinearParams>")
        (writer.matrix if exact else writer.compressed_matrix)(weight)
        writer.tokens("<BiasParams>")
        writer.vector(bias)
        writer.tokens("<IsGradient>")
        writer.boolean(value=False)
        writer.tokens("</AffineComponent>")

    return write


def pointwise(kind: str, width: int) -> Writer:
    """A ReLU or log-softmax component with empty statistics."""

    def write(writer: BinaryWriter, _name: str) -> None:
        writer.tokens(f"<{kind}>", "<Dim>")
        writer.integer(width)
        for name in ("<ValueAvg>", "<DerivAvg>"):
            writer.tokens(name)
            writer.vector(np.zeros(0))
        writer.tokens("<Count>")
        writer.double(0.0)
        writer.tokens("<OderivRms>")
        writer.vector(np.zeros(0))
        for name in ("<OderivCount>", "<NumDimsSelfRepaired>", "<NumDimsProcessed>"):
            writer.tokens(name)
            writer.double(0.0)
        writer.tokens(f"</{kind}>")

    return write


def scaling(scales: np.ndarray) -> Writer:
    """A component that multiplies each value by its own scale."""

    def write(writer: BinaryWriter, _name: str) -> None:
        writer.tokens("<FixedScaleComponent>", "<Scales>")
        writer.vector(scales)
        writer.tokens("</FixedScaleComponent>")

    return write


def passing(width: int) -> Writer:
    """A component that does nothing: nnet3 sums inputs only at the mouth of a component."""

    def write(writer: BinaryWriter, _name: str) -> None:
        writer.tokens("<NoOpComponent>", "<Dim>")
        writer.integer(width)
        writer.tokens("<BackpropScale>")
        writer.number(1.0)
        writer.tokens("</NoOpComponent>")

    return write


def _array(tensor: torch.Tensor) -> np.ndarray:
    return tensor.detach().double().numpy()


def _folded(norm: torch.nn.BatchNorm1d) -> tuple[np.ndarray, np.ndarray]:
    """A batch norm as scale and offset."""
    scale = 1 / np.sqrt(_array(norm.running_var) + norm.eps)
    return scale, -_array(norm.running_mean) * scale


def build(net: network.AcousticNetwork, blank_bias: float) -> Nnet3:
    """The network as nnet3 components.

    Offsets of the batch norms are carried forward: ``offset`` is what must still be added to the
    named node to get the value that PyTorch has there.
    """
    graph = Nnet3()
    node, offset = _add_input(graph, net)
    for prefix, layers, rate in (("low", net.low, 1), ("high", net.high, network.SUBSAMPLING)):
        for index, layer in enumerate(layers):
            node, offset = _add_layer(graph, f"{prefix}{index}", layer, rate, node, offset)
    _add_output(graph, net, node, offset, blank_bias)
    return graph


def _add_input(graph: Nnet3, net: network.AcousticNetwork) -> tuple[str, np.ndarray]:
    deviation, mean = _array(net.inverse_deviation), _array(net.mean)
    graph.add(
        "mel",
        "input",
        affine(log_mel_of_mfcc() * deviation[:, None], -mean * deviation, exact=True),
    )
    scale, offset = _folded(net.first_norm)
    graph.add(
        "first",
        "Append(Offset(mel, -1), mel, Offset(mel, 1))",
        affine(_array(net.first.weight), _array(net.first.bias)),
    )
    graph.add("first.relu", "first", pointwise("RectifiedLinearComponent", len(scale)))
    return graph.add("first.scale", "first.relu", scaling(scale)), offset


def _add_layer(
    graph: Nnet3,
    name: str,
    layer: network.FactorisedLayer,
    rate: int,
    node: str,
    offset: np.ndarray,
) -> tuple[str, np.ndarray]:
    step = layer.step * rate
    copies = 2 if step else 1
    narrow, wide = _array(layer.narrow.weight), _array(layer.wide.weight)
    scale, shift = _folded(layer.norm)
    bias = _array(layer.wide.bias) + wide @ np.tile(narrow @ np.tile(offset, copies), copies)
    graph.add(
        f"{name}.narrow",
        f"Append(Offset({node}, {-step}), {node})" if step else node,
        affine(narrow, np.zeros(len(narrow))),
    )
    source = f"{name}.narrow"
    graph.add(
        f"{name}.wide",
        f"Append({source}, Offset({source}, {step}))" if step else source,
        affine(wide, bias),
    )
    graph.add(f"{name}.relu", f"{name}.wide", pointwise("RectifiedLinearComponent", len(scale)))
    graph.add(f"{name}.scale", f"{name}.relu", scaling(scale))
    total = graph.add(
        f"{name}.sum", f"Sum({name}.scale, Scale({network.BYPASS}, {node}))", passing(len(scale))
    )
    return total, shift + network.BYPASS * offset


def _add_output(
    graph: Nnet3, net: network.AcousticNetwork, node: str, offset: np.ndarray, blank_bias: float
) -> None:
    last = _array(net.last.weight)
    graph.add("last", node, affine(last, _array(net.last.bias) + last @ offset))
    bias = _array(net.out.bias)
    graph.add("out", "last", affine(_array(net.out.weight), bias))
    graph.add("out.softmax", "out", pointwise("LogSoftmaxComponent", len(bias)))
    source = "out.softmax"
    if blank_bias:
        # Added after the softmax: a cost on blanks against words being lost, not a probability.
        shift = np.zeros(len(bias))
        shift[0] = blank_bias
        source = graph.add("out.bias", source, affine(np.eye(len(bias)), shift, exact=True))
    graph.lines.append(f"output-node name=output input={source} objective=linear")


def write_configuration(
    model: Path, *, scale: float, beam: float = 13, active: int = 4000, lattice: float = 6
) -> None:
    """conf/mfcc.conf and conf/model.conf."""
    (model / "conf").mkdir(parents=True, exist_ok=True)
    (model / "conf" / "mfcc.conf").write_text(MFCC_CONF, encoding="utf-8")
    text = MODEL_CONF.format(active=active, beam=beam, lattice=lattice, scale=scale)
    (model / "conf" / "model.conf").write_text(text, encoding="utf-8")


@click.command(help=__doc__)
@click.argument("weights", type=click.Path(exists=True))
@click.argument("model", type=click.Path(path_type=Path))
@click.option("--blank-bias", default=0.0, show_default=True, help="Added to log p(blank).")
@click.option("--scale", default=1.0, show_default=True, help="Acoustic scale.")
@click.option("--beam", default=13.0, show_default=True)
def main(weights: str, model: Path, blank_bias: float, scale: float, beam: float) -> None:
    net = network.load(weights).eval()
    (model / "am").mkdir(parents=True, exist_ok=True)
    build(net, blank_bias).write(model / "am" / "final.mdl", net.shape.context())
    write_configuration(model, scale=scale, beam=beam)
    size = (model / "am" / "final.mdl").stat().st_size
    click.echo(f"{size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
