"""The recipe of the acoustic network: features, noise, widening, loss, export, speaking on a GPU.

Skipped without PyTorch, which only the recipe needs (pip install torch). Features are checked
against kaldi-native-fbank, the synthesiser's operations against onnxruntime.
"""

from __future__ import annotations

import itertools
import json
import math
import random
import re
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="pip install torch")

from models.speech import (  # noqa: E402
    augment,
    export,
    kaldi_binary,
    losses,
    network,
    restored,
    train,
)
from models.speech.cepstrum import mfcc_of_log_mel  # noqa: E402
from models.speech.features import FILTERS, SAMPLE_RATE, WARPS, FilterBank  # noqa: E402
from models.speech.synthetic_speech import BEYOND, Arrays, random_voice  # noqa: E402

SMALL = network.Shape(width=24, bottleneck=6, low=(1, 0), high=(1, 2), last=8)


@pytest.fixture
def net() -> network.AcousticNetwork:
    """A small network with random weights and random batch-norm statistics."""
    torch.manual_seed(3)
    made = network.AcousticNetwork(SMALL).eval()
    for module in made.modules():
        if isinstance(module, torch.nn.BatchNorm1d):
            module.running_mean.normal_()
            module.running_var.uniform_(0.5, 2)
    made.mean.normal_(10, 1)
    made.inverse_deviation.uniform_(0.2, 0.5)
    return made


def sound(seconds: float, seed: int = 1) -> np.ndarray:
    """A chirp in noise, on the 16-bit scale."""
    time = np.arange(int(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    noise = np.random.default_rng(seed).normal(size=len(time))
    return (3_000 * np.sin(2_000 * time**2) + 200 * noise).astype(np.float32)


# ---- features ----------------------------------------------------------------------------------


def test_filter_bank_equals_kaldi() -> None:
    """Against kaldi-native-fbank, with the settings that the recogniser reads at run time."""
    knf = pytest.importorskip("kaldi_native_fbank")
    options = knf.FbankOptions()
    options.frame_opts.dither, options.frame_opts.samp_freq = 0, SAMPLE_RATE
    options.mel_opts.num_bins, options.mel_opts.low_freq = FILTERS, 20
    options.mel_opts.high_freq = 7600
    bank = knf.OnlineFbank(options)
    samples = sound(1.5)
    bank.accept_waveform(SAMPLE_RATE, samples.tolist())
    bank.input_finished()
    wanted = np.array([bank.get_frame(at) for at in range(bank.num_frames_ready)])
    ours = FilterBank()(torch.from_numpy(samples)[None])[0].numpy()
    assert ours.shape == wanted.shape
    np.testing.assert_allclose(ours, wanted, atol=1e-3)


# ---- network -----------------------------------------------------------------------------------


def test_a_widened_network_computes_the_same(net: network.AcousticNetwork) -> None:
    frames = torch.randn(2, 60, FILTERS) * 3 + 10
    wide = network.widen(net, 40, 9, noise=0.0).eval()
    assert wide.shape == network.Shape(40, 9, SMALL.low, SMALL.high, SMALL.last)
    torch.testing.assert_close(wide(frames), net(frames), atol=1e-4, rtol=1e-4)


def test_copies_of_a_channel_grow_apart_by_noise(net: network.AcousticNetwork) -> None:
    weights = network.widen(net, 48, 12).first.weight
    assert len({tuple(row.tolist()) for row in weights}) == 48


# ---- export ------------------------------------------------------------------------------------


class Nnet3Reader:
    """Computes what an exported model computes, from its file alone (nnet3's own semantics)."""

    def __init__(self, path: Path) -> None:
        self.parts = kaldi_binary.read_components(str(path))
        text = path.read_bytes().decode("latin-1")
        nodes = re.findall(r"component-node name=(\S+) component=\S+ input=(.*)", text)
        self.sources = dict(nodes)
        self.relus = {name for name in self.sources if name.endswith(".relu")}

    def value(self, node: str, time: int, inputs: np.ndarray) -> np.ndarray:
        if node == "input":
            return inputs[time]
        found = self.expression(self.sources[node], time, inputs)
        part = self.parts[node]
        if "LinearParams" in part:
            return part["LinearParams"] @ found + part["BiasParams"]
        if "Scales" in part:
            return found * part["Scales"]
        if node in self.relus:
            return np.maximum(found, 0)
        return found - np.log(np.exp(found).sum()) if node.endswith("softmax") else found

    def expression(self, text: str, time: int, inputs: np.ndarray) -> np.ndarray:
        name, _, inside = text.strip().partition("(")
        if not inside:
            return self.value(name, time, inputs)
        arguments = self.arguments(inside[:-1])
        if name == "Offset":
            return self.expression(arguments[0], time + int(arguments[1]), inputs)
        if name == "Scale":
            return float(arguments[0]) * self.expression(arguments[1], time, inputs)
        values = [self.expression(argument, time, inputs) for argument in arguments]
        return np.concatenate(values) if name == "Append" else sum(values)

    @staticmethod
    def arguments(text: str) -> list[str]:
        """Splits at the commas that stand in no brackets."""
        pieces, depth = [""], 0
        for letter in text:
            depth += (letter == "(") - (letter == ")")
            if letter == "," and depth == 0:
                pieces.append("")
            else:
                pieces[-1] += letter
        return pieces


def test_exported_network_equals_pytorch(
    net: network.AcousticNetwork, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To 1e-3, weights written in full; frames whose context lies inside the recording."""
    writer = kaldi_binary.BinaryWriter
    monkeypatch.setattr(writer, "compressed_matrix", writer.matrix)
    path = tmp_path / "final.mdl"
    export.build(net, 0.0).write(path, SMALL.context())
    frames = torch.randn(45, FILTERS) * 3 + 10
    with torch.no_grad():
        wanted = torch.log_softmax(net(frames[None])[0], -1).numpy()
    cepstra = frames.numpy() @ mfcc_of_log_mel().T
    reader = Nnet3Reader(path)
    inside = [at for at in range(0, 45, 3) if SMALL.context() <= at < 45 - SMALL.context()]
    assert len(inside) >= 3
    for at in inside:
        np.testing.assert_allclose(
            reader.value("out.softmax", at, cepstra), wanted[at // 3], atol=1e-3
        )


@torch.no_grad()
def test_a_restored_network_equals_the_exported_one(
    net: network.AcousticNetwork, tmp_path: Path
) -> None:
    """Weights of one byte. Outputs to 1e-2, also with means measured, and exported once more."""
    path, again = tmp_path / "final.mdl", tmp_path / "again.mdl"
    export.build(net, -1.0).write(path, SMALL.context())
    frames = torch.randn(4, 45, FILTERS) * 3 + 10
    for batches in ((), (frames,)):
        back = restored.restored(path, batches)
        assert back.shape == SMALL
        export.build(back, 0.0).write(again, SMALL.context())
        ours = torch.log_softmax(back.eval()(frames)[0], -1).numpy()
        cepstra = frames[0].numpy() @ mfcc_of_log_mel().T
        for file in (path, again):
            reader = Nnet3Reader(file)
            for at in (15, 21, 27):
                wanted = reader.value("out.softmax", at, cepstra)
                np.testing.assert_allclose(ours[at // 3], wanted, atol=1e-2)
    measured = [norm.running_mean.abs().max() for norm in restored._norms(back)]
    assert min(measured) > 0


def test_a_restored_network_trains_on_from_where_it_was(tmp_path: Path) -> None:
    """With means measured, batch statistics change the outputs as little as before export."""
    torch.manual_seed(3)
    net = network.AcousticNetwork(SMALL, dropout=0.0)
    frames = torch.randn(8, 60, FILTERS)
    for _ in range(200):  # true statistics
        net(frames)
    path = tmp_path / "final.mdl"
    export.build(net.eval(), 0.0).write(path, SMALL.context())
    back = restored.restored(path, [frames])
    back.train()
    for module in back.modules():
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    torch.testing.assert_close(back(frames), net(frames), atol=0.1, rtol=0.05)


def test_a_matrix_of_one_byte_weights_reads_back(tmp_path: Path) -> None:
    values = np.random.default_rng(1).normal(size=(30, 7))
    with (tmp_path / "part").open("wb") as file:
        writer = kaldi_binary.BinaryWriter(file)
        writer.tokens("<ComponentName>", "one", "<LinearParams>")
        writer.compressed_matrix(values)
    (part,) = kaldi_binary.read_components(str(tmp_path / "part")).values()
    np.testing.assert_allclose(part["LinearParams"], values, atol=0.03)


# ---- loss --------------------------------------------------------------------------------------


def test_chances_of_all_sequences_sum_to_one() -> None:
    """Four frames, two labels: every label sequence that fits, none left out or counted twice."""
    torch.manual_seed(1)
    scores = torch.log_softmax(torch.randn(1, 4, 3), -1)
    total = 0.0
    for length in range(5):
        for labels in itertools.product((1, 2), repeat=length):
            cost = losses.selfless_ctc(
                scores,
                torch.tensor([labels], dtype=torch.long).reshape(1, length),
                torch.tensor([4]),
                torch.tensor([length]),
            )
            total += math.exp(-cost.item())
    assert total == pytest.approx(1, abs=1e-5)


# ---- noise -------------------------------------------------------------------------------------


def test_noise_lies_as_far_below_the_voice_as_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(augment, "NOISE_DECIBELS", (10.0, 10.0))
    random.seed(2)
    torch.manual_seed(2)
    noises = augment.Noises(torch.from_numpy(sound(2, 5)).short(), share=1.0)
    waves = torch.from_numpy(np.stack([sound(1, seed) for seed in range(6)]))
    loudness = augment.loudness_of(waves)
    for _ in range(4):  # other kinds each time
        noise = augment.add_noise(waves, noises, loudness) - waves
        ratio = 20 * torch.log10(loudness[:, 0] / noise.pow(2).mean(1).sqrt())
        torch.testing.assert_close(ratio, torch.full((6,), 10.0), atol=0.1, rtol=0)


def test_loudness_leaves_pauses_out() -> None:
    voice = torch.from_numpy(sound(1))[None]
    paused = torch.cat([voice, torch.zeros(1, 3 * SAMPLE_RATE)], 1)
    torch.testing.assert_close(
        augment.loudness_of(paused), augment.loudness_of(voice), rtol=0.02, atol=0
    )


def test_some_waves_stay_free_of_noise() -> None:
    torch.manual_seed(1)
    noises = augment.Noises(torch.from_numpy(sound(2, 5)).short(), share=0.5)
    waves = torch.from_numpy(np.stack([sound(0.2, seed) for seed in range(40)]))
    same = (augment.add_noise(waves, noises, augment.loudness_of(waves)) == waves).all(1)
    assert 5 < same.sum() < 35


# ---- voices ------------------------------------------------------------------------------------


def test_played_faster_a_tone_rises_and_its_wave_gets_shorter() -> None:
    torch.manual_seed(4)
    time = torch.arange(SAMPLE_RATE) / SAMPLE_RATE
    waves = (1_000 * torch.sin(2 * math.pi * 440 * time)).repeat(8, 1)
    played, factors = augment.change_speed(waves)
    assert len(set(factors)) > 4
    for wave, factor in zip(played, factors, strict=True):
        inside = wave[: int(SAMPLE_RATE * factor)]
        spectrum = torch.fft.rfft(inside * torch.hann_window(len(inside))).abs()
        assert spectrum.argmax().item() * SAMPLE_RATE / len(inside) == pytest.approx(
            440 / factor, rel=0.01
        )
        assert wave[int(SAMPLE_RATE * factor) + 4 :].abs().sum() == 0


def test_a_warp_moves_formants_and_leaves_every_filter_something() -> None:
    bank = FilterBank()
    waves = torch.from_numpy(sound(0.5))[None].repeat(len(WARPS), 1)
    tones = torch.sin(2 * math.pi * 2_000 * torch.arange(8_000) / SAMPLE_RATE) * 3_000
    heard = bank(tones.repeat(len(WARPS), 1), torch.arange(len(WARPS))).mean(1).argmax(1)
    assert (heard.diff() >= 0).all() and heard[0] < heard[-1]
    as_is = torch.full((1,), WARPS.index(1.0))
    torch.testing.assert_close(bank(waves[:1], as_is), bank(waves[:1]))
    assert (bank.warped.sum(1) > 0).all()


def test_shares_of_a_voice_add_up_and_some_go_beyond() -> None:
    chance = random.Random(2)
    made = [random_voice(["af_one", "bm_two", "zf_three", "am_four"], chance) for _ in range(300)]
    assert all(sum(shares.values()) == pytest.approx(1, abs=0.01) for shares in made)
    assert {1, 2, 3, 4} <= {len(shares) for shares in made}
    lowest = [min(shares.values()) for shares in made]
    assert -BEYOND[1] <= min(lowest) < -BEYOND[0]
    assert max(len(shares) for shares in made if min(shares.values()) < 0) == 2


# ---- data that grows while training runs -------------------------------------------------------


def trainer_with(tmp_path: Path, corpus: str, seconds: float) -> train.Trainer:
    stored(tmp_path / "real", corpus, seconds)
    np.save(tmp_path / "noise.npy", sound(1, 7).astype(np.int16))
    (tmp_path / "noise.json").write_text("[]")
    return train.Trainer(
        str(tmp_path / "real"), str(tmp_path / "noise"), "cpu", ramp_done=True, noisy_share=0.5
    )


def stored(path: Path, corpus: str, seconds: float, count: int = 4) -> None:
    """A file of ``count`` clips as training reads it, its samples numbered."""
    shards = Arrays(path.with_name(path.name + ".bin"), count)
    for at in range(count):
        samples = (np.arange(int(seconds * SAMPLE_RATE)) + at).astype(np.int16)
        shards.add({"voice": [corpus], "ph": "TH AW"}, samples.tobytes())
    index = json.loads(path.with_name(path.name + "-0000.json").read_text())
    path.with_suffix(".json").write_text(json.dumps([[corpus, *row[1:]] for row in index]))
    path.with_name(path.name + "-0000.npy").rename(path.with_suffix(".npy"))
    path.with_name(path.name + "-0000.json").unlink()


def test_clips_that_appear_are_taken_in_once_and_people_keep_their_share(tmp_path: Path) -> None:
    trainer = trainer_with(tmp_path, "an4", 1.0)
    assert len(trainer.pool(0.5)) == 4
    stored(tmp_path / "made", train.SYNTHETIC, 3.0)
    assert trainer.add_new(str(tmp_path / "mad*"))
    assert not trainer.add_new(str(tmp_path / "mad*"))
    pool = trainer.pool(0.5)
    people = sum(clip.samples for clip in pool if clip.corpus == "an4")
    assert people == sum(clip.samples for clip in pool) / 2
    (wave,), _ = trainer.waves([[trainer.train[-1]]])
    np.testing.assert_array_equal(wave[:5], np.arange(5) + 3)


def test_joined_clips_follow_each_other_with_pauses(tmp_path: Path) -> None:
    trainer = trainer_with(tmp_path, "an4", 0.5)
    waves, lengths = trainer.waves([trainer.train[:2], trainer.train[2:3]])
    half = SAMPLE_RATE // 2
    np.testing.assert_array_equal(waves[0, :half], np.arange(half))
    after = waves[0, half:]
    gap = int((after > 0).nonzero()[0, 0])
    assert gap >= 800
    np.testing.assert_array_equal(after[gap : gap + half], np.arange(half) + 1)
    assert lengths[0] >= SAMPLE_RATE + gap and lengths[1] == half
    assert waves[1, half:].abs().sum() == 0


# ---- the synthesiser's file on PyTorch -----------------------------------------------------------


def test_onnx_on_torch_equals_onnxruntime(tmp_path: Path) -> None:
    """A convolution and a matrix with one-byte weights, and values that stem from shapes."""
    onnx = pytest.importorskip("onnx")
    onnxruntime = pytest.importorskip("onnxruntime")
    from models.speech.onnx_on_torch import Program

    path = tmp_path / "small.onnx"
    onnx.save(_quantised_model(onnx), path)
    feeds = {"x": np.random.default_rng(1).normal(size=(1, 4, 9)).astype(np.float32)}
    (wanted,) = onnxruntime.InferenceSession(str(path)).run(None, feeds)
    found = Program(str(path), "cpu")(**feeds)
    assert found.shape == wanted.shape == (9, 3)
    np.testing.assert_allclose(found, wanted, atol=0.05 * np.abs(wanted).max())


def _quantised_model(onnx):
    """x (1, 4, 9) -> one-byte convolution -> transposed, flattened by its own shape -> matrix."""
    helper, tensor = onnx.helper, onnx.numpy_helper.from_array
    chance = np.random.default_rng(2)
    constants = {
        "kernel": chance.integers(0, 255, (5, 4, 3), np.uint8),
        "kernel zero": np.array(127, np.uint8),
        "kernel scale": np.array(0.01, np.float32),
        "matrix": chance.integers(-90, 90, (5, 3), np.int8),
        "matrix zero": np.array(0, np.int8),
        "one": np.array([-1], np.int64),
        "five": np.array([5], np.int64),
    }
    node = helper.make_node
    steps = [
        node("DynamicQuantizeLinear", ["x"], ["q", "s", "z"]),
        node("ConvInteger", ["q", "kernel", "z", "kernel zero"], ["c"], pads=[1, 1]),
        node("Cast", ["c"], ["cf"], to=1),
        node("Mul", ["s", "kernel scale"], ["both"]),
        node("Mul", ["cf", "both"], ["heard"]),
        node("Sin", ["heard"], ["sine"]),
        node("Transpose", ["sine"], ["turned"], perm=[0, 2, 1]),
        node("Concat", ["one", "five"], ["sizes"], axis=0),
        node("Reshape", ["turned", "sizes"], ["flat"]),
        node("DynamicQuantizeLinear", ["flat"], ["q2", "s2", "z2"]),
        node("MatMulInteger", ["q2", "matrix", "z2", "matrix zero"], ["m"]),
        node("Cast", ["m"], ["mf"], to=1),
        node("Mul", ["mf", "s2"], ["y"]),
    ]
    value = helper.make_tensor_value_info
    graph = helper.make_graph(
        steps,
        "small",
        [value("x", 1, [1, 4, 9])],
        [value("y", 1, None)],
        [tensor(array, name) for name, array in constants.items()],
    )
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)
