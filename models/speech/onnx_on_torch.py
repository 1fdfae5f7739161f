"""A speech synthesiser's ONNX file run by PyTorch, so that a GPU can speak.

Only what Kokoro 82M (int8, opset 20) needs. Values that stem from shapes stay NumPy arrays on the
processor, all others are tensors on the device. The file's dynamic quantisation is left out: the
one-byte weights are used as numbers, the activations stay as they are, so the sound is a little
cleaner than the file's own (checked against onnxruntime to within its quantisation).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import torch
import torch.nn.functional as functional

Value = Any  # a NumPy array or a tensor
ROUNDED_BIAS = "bias_quant"  # names of nodes that round a bias to the grid of the activations


class Program:
    """The graph as a list of steps; call it with the inputs by name, get the first output."""

    def __init__(self, path: str, device: str) -> None:
        import onnx

        graph = onnx.load(path).graph
        self.device = device
        self.output = graph.output[0].name
        self.constants = {t.name: onnx.numpy_helper.to_array(t) for t in graph.initializer}
        self.steps = []
        for node in graph.node:
            attributes = {a.name: onnx.helper.get_attribute_value(a) for a in node.attribute}
            if "value" in attributes:
                attributes["value"] = onnx.numpy_helper.to_array(attributes["value"])
            rounds = any(ROUNDED_BIAS in name for name in node.output)
            kind = "Identity" if rounds and node.op_type in ("Floor", "Cast") else node.op_type
            self.steps.append((OPERATIONS[kind], list(node.input), list(node.output), attributes))
        self._fold()
        self._last_use = self._uses()

    def _fold(self) -> None:
        """Does once what needs no input, and moves numbers to the device."""
        for name, value in self.constants.items():
            if value.dtype != np.int64 and value.size > 1:
                self.constants[name] = torch.from_numpy(value.copy()).to(self.device)
        kept = []
        for operation, inputs, outputs, attributes in self.steps:
            whole = attributes | {"cache": {}, "device": self.device}
            if all(name in self.constants or not name for name in inputs):
                self._run((operation, inputs, outputs, whole), self.constants)
            else:
                kept.append((operation, inputs, outputs, whole))
        self.steps = kept

    def _uses(self) -> list[list[str]]:
        """Names that no later step reads, by step."""
        seen, ends = {self.output}, []
        for _, inputs, _, _ in reversed(self.steps):
            last = [n for n in inputs if n and n not in seen and n not in self.constants]
            seen.update(last)
            ends.append(list(dict.fromkeys(last)))
        return ends[::-1]

    @staticmethod
    def _run(step: tuple, values: dict[str, Value]) -> None:
        operation, inputs, outputs, attributes = step
        result = operation([values[name] if name else None for name in inputs], attributes)
        if isinstance(result, tuple):
            values.update(zip(outputs, result, strict=False))
        else:
            values[outputs[0]] = result

    @torch.inference_mode()
    def __call__(self, **inputs: np.ndarray) -> np.ndarray:
        values = dict(self.constants)
        values |= {name: torch.from_numpy(v).to(self.device) for name, v in inputs.items()}
        for step, ended in zip(self.steps, self._last_use, strict=True):
            self._run(step, values)
            for name in ended:
                del values[name]
        return values[self.output].float().cpu().numpy()


def _on_device(values: list[Value], device: str) -> list[Value]:
    """All as tensors when one is a tensor; single numbers stay cheap Python ones."""
    if not any(isinstance(value, torch.Tensor) for value in values):
        return values
    return [_tensor(value, device) for value in values]


def _tensor(value: Value, device: str) -> Value:
    if not isinstance(value, np.ndarray | np.generic):
        return value
    if np.ndim(value) == 0:
        return value.item()
    return torch.from_numpy(np.array(value)).to(device)


def _simple(ours: Callable, theirs: Callable) -> Callable:
    """An operation without attributes: one function for arrays, one for tensors."""

    def run(values: list[Value], attributes: dict) -> Value:
        values = _on_device(values, attributes["device"])
        on_tensors = any(isinstance(value, torch.Tensor) for value in values)
        return theirs(*values) if on_tensors else np.asarray(ours(*values))

    return run


def _where(condition, yes, no):
    return torch.where(condition, yes, no)


def _divide(left, right):
    whole = isinstance(left, torch.Tensor) and not left.is_floating_point()
    return torch.div(left, right, rounding_mode="trunc") if whole else left / right


def _divide_arrays(left, right):
    return left // right if np.issubdtype(np.asarray(left).dtype, np.integer) else left / right


def _power(left, right):
    return left**right


KINDS = {1: (np.float32, torch.float32), 6: (np.int32, torch.int32), 7: (np.int64, torch.int64)}
KINDS[9] = (np.bool_, torch.bool)


def _cast(values, attributes):
    ours, theirs = KINDS[attributes["to"]]
    value = values[0]
    return value.to(theirs) if isinstance(value, torch.Tensor) else np.asarray(value).astype(ours)


def _shape(values, attributes):
    return np.array(values[0].shape, np.int64)[attributes.get("start", 0) : attributes.get("end")]


def _gather(values, attributes):
    data, index = values
    axis = attributes.get("axis", 0)
    if isinstance(data, torch.Tensor):
        index = torch.as_tensor(np.array(index) if isinstance(index, np.ndarray) else index)
        index = (index % data.shape[axis]).to(data.device)  # negative ones count from the end
        found = data.index_select(axis, index.reshape(-1))
        return found.reshape([*data.shape[:axis], *index.shape, *data.shape[axis + 1 :]])
    if isinstance(index, torch.Tensor):
        index = index.cpu().numpy()
    return np.take(data, index, axis)


def _axes(value) -> tuple[int, ...]:
    return tuple(int(axis) for axis in np.atleast_1d(_array(value)))


def _array(value: Value) -> np.ndarray:
    return value.cpu().numpy() if isinstance(value, torch.Tensor) else np.asarray(value)


def _unsqueeze(values, attributes):
    value = values[0]
    for axis in sorted(_axes(values[1])):
        tensor = isinstance(value, torch.Tensor)
        value = value.unsqueeze(axis) if tensor else np.expand_dims(value, axis)
    return value


def _squeeze(values, attributes):
    for axis in sorted(_axes(values[1]), reverse=True):
        values[0] = values[0].squeeze(axis)
    return values[0]


def _reshape(values, attributes):
    value = values[0]
    sizes = [value.shape[i] if n == 0 else int(n) for i, n in enumerate(_array(values[1]))]
    return value.reshape(sizes)


def _concat(values, attributes):
    values = _on_device(values, attributes["device"])
    if isinstance(values[0], torch.Tensor):
        return torch.cat(values, attributes["axis"])
    return np.concatenate(values, attributes["axis"])


def _slice(values, attributes):
    data, starts, ends = values[:3]
    axes = _axes(values[3]) if len(values) > 3 else range(len(_axes(starts)))
    steps = _axes(values[4]) if len(values) > 4 else (1,) * len(_axes(starts))
    for axis, start, end, step in zip(axes, _axes(starts), _axes(ends), steps, strict=True):
        if step < 0:  # PyTorch has no negative steps
            data, start, end, step = data.flip(axis), -1 - start, -1 - end, -step
            size = data.shape[axis]
            end = size if end >= size or end < start else end
        where = [slice(None)] * len(data.shape)
        where[axis] = slice(start, end, step)
        data = data[tuple(where)]
    return data


def _split(values, attributes):
    return tuple(torch.split(values[0], list(_axes(values[1])), attributes.get("axis", 0)))


def _expand(values, attributes):
    value = torch.as_tensor(_tensor(values[0], attributes["device"]), device=attributes["device"])
    sizes = np.broadcast_shapes(tuple(value.shape), _axes(values[1]))
    return value.expand(*sizes)


def _constant_of_shape(values, attributes):
    value = attributes.get("value", np.zeros(1, np.float32))
    sizes = _axes(values[0])
    if len(sizes) <= 1:
        return np.full(sizes, value[0])
    return torch.full(sizes, value[0].item(), device=attributes["device"])


def _dynamic_quantise(values, attributes):
    return values[0], np.float32(1), np.uint8(0)


def _weights(values, attributes, axis: int) -> torch.Tensor:
    """One-byte weights as numbers, less their zero point; made once."""
    if "weights" not in attributes["cache"]:
        zero = _tensor(np.asarray(_array(values[3]), np.float32), attributes["device"])
        weights = values[1].float()
        if isinstance(zero, torch.Tensor) and zero.numel() > 1:
            zero = zero.reshape([-1 if n == axis else 1 for n in range(weights.dim())])
        attributes["cache"]["weights"] = weights - zero
    return attributes["cache"]["weights"]


def _matmul_integer(values, attributes):
    if not torch.is_tensor(values[1]) or values[1].is_floating_point():  # both are activations
        return values[0] @ values[1]
    return values[0] @ _weights(values, attributes, values[1].dim() - 1)


def _convolve(value, weights, bias, attributes):
    pads = attributes["pads"]
    if pads[0] != pads[-1]:
        value, pads = functional.pad(value, pads), [0]
    return functional.conv1d(
        value,
        weights,
        bias,
        attributes.get("strides", 1),
        pads[0],
        attributes.get("dilations", 1),
        attributes.get("group", 1),
    )


def _conv_integer(values, attributes):
    return _convolve(values[0], _weights(values, attributes, 0), None, attributes)


def _conv(values, attributes):
    return _convolve(values[0], values[1], values[2] if len(values) > 2 else None, attributes)


def _conv_transpose(values, attributes):
    return functional.conv_transpose1d(
        values[0],
        values[1],
        values[2] if len(values) > 2 else None,
        attributes["strides"],
        attributes["pads"][0],
        attributes.get("output_padding", [0])[0],
        attributes["group"],
        attributes["dilations"],
    )


def _lstm(values, attributes):
    if "layer" not in attributes["cache"]:
        attributes["cache"]["layer"] = _lstm_layer(values, attributes)
    output, _ = attributes["cache"]["layer"](values[0])
    steps, batch, _ = output.shape
    return output.reshape(steps, batch, 2, -1).permute(0, 2, 1, 3)


def _lstm_layer(values, attributes):
    """A PyTorch layer; ONNX orders the gates input, output, forget, cell."""
    hidden = attributes["hidden_size"]
    order = np.concatenate([np.arange(hidden) + hidden * gate for gate in (0, 2, 3, 1)])
    scaled = {}
    for name, (weights, scale, zero) in {"ih": (1, 8, 9), "hh": (2, 10, 11)}.items():
        raw = _array(values[weights]).astype(np.float32)
        scale, zero = (np.asarray(_array(values[at]), np.float32) for at in (scale, zero))
        extra = (1, 2)[scale.ndim - 1] if scale.ndim and scale.size > 2 else None
        shape = (2, 1, -1) if extra or scale.size == 2 else (1, 1, 1)
        scaled[name] = (raw - zero.reshape(shape)) * scale.reshape(shape)
    layer = torch.nn.LSTM(scaled["ih"].shape[1], hidden, bidirectional=True)
    biases = _array(values[3])
    for way, suffix in enumerate(("", "_reverse")):
        parts = {name: table[way].T[order] for name, table in scaled.items()}
        sizes = 4 * hidden
        for name, weights in parts.items():
            getattr(layer, f"weight_{name}_l0{suffix}").data = torch.from_numpy(weights.copy())
        for at, name in enumerate(("ih", "hh")):
            bias = biases[way][at * sizes : (at + 1) * sizes][order]
            getattr(layer, f"bias_{name}_l0{suffix}").data = torch.from_numpy(bias.copy())
    layer = layer.to(attributes["device"]).eval()
    layer.flatten_parameters()
    return layer


def _layer_norm(values, attributes):
    return functional.layer_norm(
        values[0], values[0].shape[-1:], values[1], values[2], attributes["epsilon"]
    )


def _skip_layer_norm(values, attributes):
    return _layer_norm([values[0] + values[1], *values[2:4]], attributes)


def _fast_gelu(values, attributes):
    return functional.gelu(values[0] + values[1], approximate="tanh")


def _dequantise(values, attributes):
    value, scale, zero = values
    return (value.float() - float(_array(zero))) * float(_array(scale))


def _reduce(name: str) -> Callable:
    def run(values, attributes):
        axes = _axes(values[1]) if len(values) > 1 else tuple(attributes["axes"])
        return getattr(values[0], name)(dim=axes, keepdim=bool(attributes.get("keepdims", 1)))

    return run


def _resize(values, attributes):
    value = values[0]
    if len(values) > 3 and values[3] is not None:
        size = int(_array(values[3])[-1])
    else:
        size = int(np.floor(value.shape[-1] * float(_array(values[2])[-1])))
    if attributes["mode"] == b"nearest":
        return functional.interpolate(value, size=size, mode="nearest")
    return functional.interpolate(value, size=size, mode="linear", align_corners=False)


def _pad(values, attributes):
    pads = _axes(values[1])
    half = len(pads) // 2
    mode = attributes.get("mode", b"constant").decode()
    return functional.pad(values[0], (pads[half - 1], pads[-1]), mode=mode)


def _stft(values, attributes):
    signal, step, window, length = values
    signal = signal.reshape(signal.shape[0], -1)
    size = int(_array(length)) if length is not None else window.shape[0]
    found = torch.stft(
        signal,
        size,
        int(_array(step)),
        window=window,
        center=False,
        onesided=True,
        return_complex=True,
    )
    return torch.view_as_real(found).transpose(1, 2)


def _scatter(values, attributes):
    data, index, update = _on_device(values, attributes["device"])
    return data.clone().index_put(tuple(index.long().unbind(-1)), update)


def _fused_matmul(values, attributes):
    left = values[0].transpose(-1, -2) if attributes["transA"] else values[0]
    right = values[1].transpose(-1, -2) if attributes["transB"] else values[1]
    return attributes["alpha"] * (left @ right)


def _transpose(values, attributes):
    return values[0].permute(attributes["perm"])


def _range(values, attributes):
    start, end, step = (_array(value).item() for value in values)
    return torch.arange(start, end, step, device=attributes["device"])


OPERATIONS: dict[str, Callable] = {
    "Add": _simple(np.add, torch.add),
    "And": _simple(np.logical_and, torch.logical_and),
    "Atan": lambda values, _: torch.atan(torch.nan_to_num(values[0])),  # 0 / 0 in silence
    "Cast": _cast,
    "Clip": lambda values, _: values[0].clamp(min=float(_array(values[1]))),
    "Concat": _concat,
    "ConstantOfShape": _constant_of_shape,
    "Conv": _conv,
    "ConvInteger": _conv_integer,
    "ConvTranspose": _conv_transpose,
    "Cos": _simple(np.cos, torch.cos),
    "CumSum": lambda values, _: values[0].cumsum(int(_array(values[1]))),
    "DequantizeLinear": _dequantise,
    "Div": _simple(_divide_arrays, _divide),
    "DynamicQuantizeLSTM": _lstm,
    "DynamicQuantizeLinear": _dynamic_quantise,
    "Equal": _simple(np.equal, torch.eq),
    "Exp": _simple(np.exp, torch.exp),
    "Expand": _expand,
    "FastGelu": _fast_gelu,
    "Floor": _simple(np.floor, torch.floor),
    "FusedMatMul": _fused_matmul,
    "Gather": _gather,
    "Greater": _simple(np.greater, torch.gt),
    "GreaterOrEqual": _simple(np.greater_equal, torch.ge),
    "Identity": lambda values, _: values[0],
    "LayerNormalization": _layer_norm,
    "LeakyRelu": lambda values, a: functional.leaky_relu(values[0], a["alpha"]),
    "Less": _simple(np.less, torch.lt),
    "MatMul": _simple(np.matmul, torch.matmul),
    "MatMulInteger": _matmul_integer,
    "Mul": _simple(np.multiply, torch.mul),
    "NonZero": lambda values, _: torch.nonzero(values[0]).T,
    "Pad": _pad,
    "Pow": _simple(np.power, _power),
    "Range": _range,
    "ReduceMean": _reduce("mean"),
    "ReduceSum": _reduce("sum"),
    "Reshape": _reshape,
    "Resize": _resize,
    "Round": _simple(np.round, torch.round),
    "STFT": _stft,
    "ScatterND": _scatter,
    "Shape": _shape,
    "Sigmoid": lambda values, _: torch.sigmoid(values[0]),
    "Sin": _simple(np.sin, torch.sin),
    "SkipLayerNormalization": _skip_layer_norm,
    "Slice": _slice,
    "Softmax": lambda values, a: torch.softmax(values[0], a["axis"]),
    "Split": _split,
    "Sqrt": _simple(np.sqrt, torch.sqrt),
    "Squeeze": _squeeze,
    "Sub": _simple(np.subtract, torch.sub),
    "Tanh": _simple(np.tanh, torch.tanh),
    "Transpose": _transpose,
    "Unsqueeze": _unsqueeze,
    "Where": _simple(np.where, _where),
}
