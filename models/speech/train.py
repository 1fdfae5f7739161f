"""Train the acoustic network, by selfless CTC or the sequence loss.

On one GPU; with ``torchrun --nproc-per-node N -m models.speech.train ...`` on several, each with
its own batches; for a smoke test, on the processor.

    python -m models.speech.train --clips DATA --noise NOISE --weights start.pt --out DIR

Writes DIR/network.pt (the running average of the weights, which is what ships) every minute, and
DIR/log.jsonl (loss, phone error per corpus). To go on from an earlier run, give its network.pt as
``--weights`` with ``--ramp-done``.
"""

from __future__ import annotations

import glob
import json
import math
import os
import random
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import click
import torch
import torch.distributed as distributed
import torch.nn.functional as functional

from . import augment, clips, network
from .features import SAMPLE_RATE, WARPS, FilterBank, frame_count
from .losses import selfless_ctc
from .phones import BLANK, OUTPUTS
from .sequence_loss import denominator, phone_bigram

LONGEST = 20 * SAMPLE_RATE
AVERAGE = 0.998  # decay of the running average of weights, per step: some 500 steps count
CTC_SHARE = 0.2
SQUARE_COST = 2e-4
SYNTHETIC = "synthetic"  # the corpus that is no people
RAMP = (0.03, 0.2)  # share of the schedule over which augmentation grows from nothing to full


@dataclass(frozen=True, slots=True)
class Schedule:
    """How far training is: by clock time, so that a lent machine's minutes are used up exactly.

    ``done`` is the share of the whole that another run did before this one.
    """

    seconds: float
    started: float
    rate: float
    done: float = 0.0

    def progress(self) -> float:
        share = (time.monotonic() - self.started) / self.seconds
        return min(1.0, self.done + (1 - self.done) * share)

    def learning_rate(self, step: int) -> float:
        cosine = 0.5 * (1 + math.cos(math.pi * self.progress()))
        return self.rate * min(1.0, (step + 1) / 300) * cosine + 1e-6

    def ramp(self) -> float:
        return min(1.0, max(0.0, (self.progress() - RAMP[0]) / (RAMP[1] - RAMP[0])))


class Trainer:
    """Holds the data on the device, the network, its average and the optimiser."""

    def __init__(
        self, data: str, noise: str, device: str, ramp_done: bool, noisy_share: float
    ) -> None:
        self.device = device
        self.samples = torch.zeros(0, dtype=torch.int16, device=device)
        self.filled = 0
        self.train: list[clips.Clip] = []
        self.dev: list[clips.Clip] = []
        self.have: set[str] = set()
        self.add(data)
        noise_samples = torch.from_numpy(clips.read(noise)[0]).to(device)
        self.noises = augment.Noises(noise_samples, noisy_share)
        self.filter_bank = FilterBank().to(device)
        self.ramp_done = ramp_done

    def add(self, data: str) -> None:
        """Takes in the clips that ``clips.unpack`` wrote under this name."""
        samples, found = clips.read(data)
        shift, self.filled = self.filled, self.filled + len(samples)
        if self.filled > len(self.samples):
            room = self.samples.new_zeros(2 * self.filled)
            room[:shift] = self.samples[:shift]
            self.samples = room
        self.samples[shift : self.filled] = torch.from_numpy(samples).to(self.device)
        for clip in found:
            if _usable(clip):
                pool = self.dev if clip.split == "dev" else self.train
                pool.append(replace(clip, at=clip.at + shift))
        self.have.add(data)

    def pool(self, real_share: float) -> list[clips.Clip]:
        """The training clips, those of people repeated until they are this share of the sound."""
        made = [clip for clip in self.train if clip.corpus == SYNTHETIC]
        real = [clip for clip in self.train if clip.corpus != SYNTHETIC]
        if not made or not real:
            return self.train
        wanted = real_share / (1 - real_share) * _sound(made) / _sound(real)
        times, rest = divmod(max(1.0, wanted), 1)
        return made + int(times) * real + random.sample(real, int(rest * len(real)))

    def add_new(self, pattern: str) -> bool:
        """Takes in data that has appeared since: synthetic speech is made while training runs."""
        names = [path.removesuffix(".json") for path in sorted(glob.glob(pattern + ".json"))]
        new = [name for name in names if name not in self.have]
        for name in new:
            self.add(name)
        return bool(new)

    def waves(self, groups: list[list[clips.Clip]]) -> tuple[torch.Tensor, list[int]]:
        """Each group's clips one after another, with pauses, padded to the longest."""
        most = max(map(len, groups))
        table, lengths = [], []
        for group in groups:
            place, pieces = 0, []
            for clip in group:
                pieces.append((place, place + clip.samples, clip.at))
                place += clip.samples + (random.randint(800, 14_000) if len(group) > 1 else 0)
            table.append(pieces + [(0, 0, 0)] * (most - len(group)))
            lengths.append(place)
        starts, ends, sources = torch.tensor(table).to(self.device).unsqueeze(-1).unbind(2)
        time = torch.arange(max(lengths), device=self.device)
        waves = torch.zeros(len(groups), len(time), device=self.device)
        for at in range(most):
            inside = (time >= starts[:, at]) & (time < ends[:, at])
            source = torch.where(inside, sources[:, at] + time - starts[:, at], 0)
            waves = torch.where(inside, self.samples[source].float(), waves)
        return waves, lengths

    def features(self, groups: list[list[clips.Clip]], ramp: float | None):
        """Log-mel features and output lengths; augmented unless ``ramp`` is None."""
        waves, lengths = self.waves(groups)
        warps = None
        if ramp is not None:
            waves, factors = augment.change_speed(waves)
            before, after = random.randint(0, 6_000), random.randint(0, 6_000)
            waves = functional.pad(waves, (before, after))
            longer = zip(lengths, factors, strict=True)
            lengths = [min(waves.shape[1], int(n * f) + before + after) for n, f in longer]
            waves = augment.disturb(waves, self.noises, ramp)
            warps = torch.randint(0, len(WARPS), (len(waves),), device=waves.device)
        waves = waves + torch.randn_like(waves)  # Kaldi's dither of one step
        features = self.filter_bank(waves, warps)
        if ramp is not None:
            features = augment.mask(features, features.mean(), ramp)
        return features, [(max(1, frame_count(n)) + 2) // 3 for n in lengths]


def _sound(pool: list[clips.Clip]) -> int:
    return sum(clip.samples for clip in pool)


def _usable(clip: clips.Clip) -> bool:
    frames = clip.samples // 480
    return (
        bool(clip.outputs)
        and 0.3 * SAMPLE_RATE < clip.samples < LONGEST
        and (frames > 1.3 * len(clip.outputs))
    )


def batches(pool: list[clips.Clip], most: int, joined: float) -> list[list[list[clips.Clip]]]:
    """Groups of one to three clips, sorted by length into batches of at most ``most`` samples."""
    shuffled = random.sample(pool, len(pool))
    groups, place = [], 0
    while place < len(shuffled):
        count = random.choice((2, 3)) if random.random() < joined else 1
        group = shuffled[place : place + count]
        if sum(clip.samples for clip in group) > LONGEST:
            group = group[:1]
        groups.append(group)
        place += len(group)
    groups.sort(key=lambda group: _length(group) * random.uniform(0.95, 1.05))
    made: list[list[list[clips.Clip]]] = [[]]
    longest = 0
    for group in groups:
        longest = max(longest, _length(group))
        if made[-1] and longest * (len(made[-1]) + 1) > most:
            made.append([])
            longest = _length(group)
        made[-1].append(group)
    random.shuffle(made)
    return made


def _length(group: list[clips.Clip]) -> int:
    return sum(clip.samples for clip in group) + 7_000 * (len(group) - 1)


def mean_loss(
    logits, lengths: list[int], groups: list[list[clips.Clip]], bigram: torch.Tensor | None
) -> torch.Tensor:
    """Mean loss per phone: selfless CTC, or with a phone bigram the sequence loss and some CTC.

    A share of CTC keeps the sequence loss from drifting, and a small cost on the squares of the
    scores keeps these from growing without end (as in Kaldi's chain training).
    """
    targets = [torch.tensor([o for clip in group for o in clip.outputs]) for group in groups]
    sizes = torch.tensor([len(target) for target in targets]).to(logits.device)
    frames = torch.tensor(lengths).clamp(max=logits.shape[1]).to(logits.device)
    padded = torch.nn.utils.rnn.pad_sequence(targets, batch_first=True).to(logits.device)
    scores = logits.float()
    costs = selfless_ctc(functional.log_softmax(scores, -1), padded, frames, sizes)
    if bigram is None:
        return costs.sum() / sizes.sum()
    right = selfless_ctc(scores, padded, frames, sizes)
    alive = (costs > 0).float()
    all_ways = denominator(scores, bigram, frames)
    within = torch.arange(scores.shape[1], device=scores.device)[None] < frames[:, None]
    squares = (scores.pow(2).mean(2) * within).sum()
    total = ((right + all_ways) * alive).sum() + CTC_SHARE * costs.sum() + SQUARE_COST * squares
    return total / sizes.sum()


def phone_errors(trainer: Trainer, net: network.AcousticNetwork) -> dict[str, float]:
    """Phone error rate by greedy decoding of the development clips, per corpus."""
    net.eval()
    errors, phones = defaultdict(int), defaultdict(int)
    with torch.no_grad():
        for groups in batches(trainer.dev, 400 * SAMPLE_RATE, 0.0):
            features, lengths = trainer.features(groups, None)
            best = net(features).argmax(-1).cpu()
            for (clip,), row, length in zip(groups, best, lengths, strict=True):
                heard = [output for output in row[:length].tolist() if output != BLANK]
                errors[clip.corpus] += edit_distance(heard, clip.outputs)
                phones[clip.corpus] += len(clip.outputs)
    net.train()
    return {name: round(errors[name] / phones[name], 4) for name in sorted(phones)}


def edit_distance(left, right) -> int:
    """Fewest insertions, deletions and substitutions from one sequence to the other."""
    row = list(range(len(left) + 1))
    for i, wanted in enumerate(right, 1):
        diagonal, row[0] = row[0], i
        for j, got in enumerate(left, 1):
            diagonal, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, diagonal + (wanted != got))
    return row[-1]


def parameter_groups(net: network.AcousticNetwork, body: float) -> list[dict]:
    """The last two layers learn at the full rate, transferred layers at ``body`` times it."""
    head = [p for name, p in net.named_parameters() if name.startswith(("last", "out"))]
    rest = [p for name, p in net.named_parameters() if not name.startswith(("last", "out"))]
    return [{"params": head, "share": 1.0}, {"params": rest, "share": body}]


def update_average(
    average: network.AcousticNetwork, net: network.AcousticNetwork, decay: float
) -> None:
    """Moves the average a little towards the network; batch-norm statistics likewise."""
    ours, theirs = average.state_dict(), net.state_dict()
    floats = [name for name, value in ours.items() if value.is_floating_point()]
    torch._foreach_lerp_([ours[n] for n in floats], [theirs[n] for n in floats], 1 - decay)


class Peers:
    """The processes of one training, one a GPU; a single one when torchrun did not start them."""

    def __init__(self, device: str) -> None:
        self.rank, self.count = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
        self.kind = device
        self.device = f"{device}:{os.environ.get('LOCAL_RANK', 0)}" if device == "cuda" else device
        if device == "cuda":
            torch.cuda.set_device(self.device)  # where Triton runs its programs
        if self.count > 1:
            distributed.init_process_group("nccl" if device == "cuda" else "gloo")

    def share(self, net: network.AcousticNetwork, *, finished: bool, look: bool) -> bool:
        """Averages the gradients of all; whether training ends, once one of them has finished.

        All must end at the same step, so they ask each other: only when ``look``, since that
        waits for the GPU.
        """
        if self.count == 1:
            return finished
        gradients = [p.grad for p in net.parameters() if p.grad is not None]
        flag = torch.full((1,), float(finished), device=self.device)
        flat = torch.cat([*(gradient.flatten() for gradient in gradients), flag])
        distributed.all_reduce(flat)
        sizes = [gradient.numel() for gradient in gradients]
        *pieces, flag = (flat / self.count).split([*sizes, 1])
        for gradient, piece in zip(gradients, pieces, strict=True):
            gradient.copy_(piece.view_as(gradient))
        return look and flag.item() > 0


def started(start: str, width: int | None, bottleneck: int) -> network.AcousticNetwork:
    """The network to go on from, widened if a width is given."""
    net = network.load(start)
    return network.widen(net, width, bottleneck) if width else net


def stream(
    trainer: Trainer, most: int, more: str, real_share: float
) -> Iterator[tuple[list[list[clips.Clip]], bool]]:
    """Batches without end; with each, whether new clips have come since the last one."""
    new = True
    while True:
        new = trainer.add_new(more) or new
        for groups in batches(trainer.pool(real_share), most, 0.3):
            yield groups, new
            new = False


def run(
    trainer: Trainer,
    net,
    average,
    optimiser,
    plan: Schedule,
    peers: Peers,
    log: Path,
    batches_of: Iterator,
    *,
    sequence: bool,
) -> int:
    """Trains until the plan's seconds are over; returns the steps made."""
    smooth, reported, bigram = 0.0, time.monotonic(), None
    for step, (groups, new) in enumerate(batches_of):
        if new and sequence:
            bigram = phone_bigram((clip.outputs for clip in trainer.train), OUTPUTS)
            bigram = bigram.to(trainer.device)
        for group in optimiser.param_groups:
            group["lr"] = plan.learning_rate(step) * group["share"]
        features, lengths = trainer.features(groups, 1.0 if trainer.ramp_done else plan.ramp())
        with torch.autocast(peers.kind, torch.bfloat16, enabled=peers.kind == "cuda"):
            logits = net(features)
        loss = mean_loss(logits, lengths, groups, bigram)
        optimiser.zero_grad()
        loss.backward()
        if peers.share(net, finished=plan.progress() >= 1, look=step % 10 == 0):
            break
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        update_average(average, net, min(AVERAGE, 1 - 1 / (step + 2)))
        if step % 20 == 0:
            smooth = loss.item() if not smooth else 0.9 * smooth + 0.1 * loss.item()
        if peers.rank == 0 and time.monotonic() - reported > 60:
            reported = time.monotonic()
            report(log, step, smooth, len(trainer.train), phone_errors(trainer, average))
            network.save(average, str(log.parent / "network.pt"))
    return step


def report(log: Path, step: int, loss: float, clip_count: int, errors: dict[str, float]) -> None:
    row = {"step": step, "loss": round(loss, 4), "clips": clip_count, "phone_error": errors}
    print(row, flush=True)
    with log.open("a", encoding="utf-8") as file:
        file.write(json.dumps(row) + "\n")


@click.command(help=__doc__)
@click.option("--clips", "data", required=True, help="Path that clips.py wrote, without suffix.")
@click.option("--noise", required=True, help="The same, of noise.")
@click.option("--weights", "start", required=True, help="Weights to start from.")
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--seconds", type=float, default=550, show_default=True)
@click.option("--rate", type=float, default=2.5e-3, show_default=True)
@click.option("--body", type=float, default=0.4, show_default=True, help="Rate of other layers.")
@click.option("--batch", type=float, default=500, show_default=True, help="Seconds of sound.")
@click.option("--real-share", default=0.35, show_default=True, help="Of people in the sound.")
@click.option("--noisy-share", default=augment.NOISY_SHARE, show_default=True)
@click.option("--done", default=0.0, show_default=True, help="Share done by an earlier run.")
@click.option("--seed", default=1, show_default=True)
@click.option("--more", default="", help="Pattern of more clips, which may appear later.")
@click.option("--width", type=int, help="Widen the starting network to so many channels.")
@click.option("--bottleneck", type=int, default=96, show_default=True, help="Of the wider one.")
@click.option("--ramp-done", is_flag=True, help="Full augmentation from the first step.")
@click.option("--sequence", is_flag=True, help="Sequence-level loss (needs a GPU).")
@click.option("--device", default="cuda", show_default=True)
def main(
    data,
    noise,
    start,
    out,
    seconds,
    rate,
    body,
    batch,
    real_share,
    noisy_share,
    done,
    seed,
    more,
    width,
    bottleneck,
    ramp_done,
    sequence,
    device,
) -> None:
    out.mkdir(parents=True, exist_ok=True)
    peers = Peers(device)
    torch.manual_seed(seed)  # all peers widen alike
    net = started(start, width, bottleneck)
    torch.manual_seed(seed + peers.rank)
    random.seed(seed + peers.rank)
    trainer = Trainer(data, noise, peers.device, ramp_done, noisy_share)
    net = net.to(peers.device)
    average = network.AcousticNetwork(net.shape).to(peers.device).eval()
    average.load_state_dict(net.state_dict())
    optimiser = torch.optim.AdamW(parameter_groups(net, body), lr=rate, weight_decay=1e-2)
    plan = Schedule(seconds, time.monotonic(), rate, done)
    hours = round(_sound(trainer.train) / SAMPLE_RATE / 3600, 2)
    print(len(trainer.train), "clips", hours, "hours", net.shape, flush=True)
    step = run(
        trainer,
        net,
        average,
        optimiser,
        plan,
        peers,
        out / "log.jsonl",
        stream(trainer, int(batch * SAMPLE_RATE), more, real_share),
        sequence=sequence,
    )
    if peers.rank == 0:
        network.save(average, str(out / "network.pt"))
        report(out / "log.jsonl", step, 0.0, len(trainer.train), phone_errors(trainer, average))
    if peers.count > 1:
        distributed.destroy_process_group()


if __name__ == "__main__":
    main()
