"""Trains the note reader on what ``prepare`` wrote.

python -m models.extractor.train [--settings models/extractor/settings.toml]

One GPU: some six minutes; without one, hours. Needs PyTorch and NumPy. The weights are rounded as
they are kept for the last part of the training. With ``--teacher FOLDER`` the network also learns
to say what a larger one says, trained before with ``--settings teacher.toml --start
teacher_start.npz --out FOLDER``.
"""

from __future__ import annotations

import gzip
import json
import random
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import click
import numpy as np
import torch

from models.extractor.training import (
    NEAR,
    Batch,
    Drops,
    Lesson,
    as_kept,
    batch_of,
    bits_of,
    figures,
    first_weights,
    labelled_loss,
    lesson_of,
    likeness_loss,
    scores_of,
    torched,
)
from talklog.notearrays import QUANTITIES, ROLES
from talklog.notenet import shapes
from talklog.packed import pack, unpack

SETTINGS, WEIGHTS = "settings.json", "weights.npz"  # as ``talklog.notereader``, which needs spaCy
HERE = Path(__file__).parent
WORK = HERE / "work"


class Batches(torch.utils.data.IterableDataset):
    """Batches of written notes without end, now and then one of generated notes."""

    def __init__(self, lessons: Sequence[Lesson], table: Mapping[str, int], wanted: Any) -> None:
        self.written = [lesson for lesson in lessons if lesson.weight is None]
        self.made = [lesson for lesson in lessons if lesson.weight is not None]
        self.table, self.wanted = table, wanted

    def __iter__(self) -> Iterator[Batch]:
        worker = torch.utils.data.get_worker_info()
        chance = random.Random(self.wanted["seed"] * 1000 + (worker.id if worker else 0))
        size, hidden = self.wanted["batch"], self.wanted["hidden"]
        while True:
            made = self.made and chance.random() < self.wanted["generated"]
            some = chance.sample(self.made if made else self.written, size)
            yield batch_of(some, self.table, hidden=hidden, chance=chance)


@click.command()
@click.option("--settings", type=click.Path(path_type=Path), default=HERE / "settings.toml")
@click.option("--work", type=click.Path(path_type=Path), default=WORK, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), default=WORK / "out", show_default=True)
@click.option(
    "--start",
    default="start.npz",
    show_default=True,
    help="In the folder of --work; or a folder that a training wrote, to go on from it.",
)
@click.option(
    "--teacher",
    type=click.Path(path_type=Path),
    multiple=True,
    help="What --out was when it learned; may be given more than once.",
)
@click.option("--seed", default=1, show_default=True)
@click.option("--steps", default=0, help="Instead of those of the settings.")
@click.option("--workers", default=0, show_default=True, help="Processes that prepare batches.")
def main(
    settings: Path, work: Path, out: Path, start: str, teacher: tuple[Path, ...], seed: int,
    steps: int, workers: int,
) -> None:  # fmt: skip
    """Writes weights.npz and settings.json, and prints figures on the dev notes."""
    wanted = {**tomllib.loads(settings.read_text("utf-8")), "seed": seed}
    wanted["steps"] = steps or wanted["steps"]
    pieces, first = start_in(work / start)
    table = {piece: row for row, piece in enumerate(pieces)}
    lessons = {split: read_lessons(work / f"{split}.jsonl.gz", table) for split in ("train", "dev")}
    keep = partial(save, out, pieces=pieces, sizes=wanted["sizes"], few=wanted["bits"])
    teachers = [weights_in(folder, pieces) for folder in teacher]
    keep(train(lessons, table, first, wanted, keep, workers=workers, teachers=teachers))


def start_in(path: Path) -> tuple[list[str], dict[str, np.ndarray]]:
    """The pieces of words and the weights that ``pretrained`` or ``save`` wrote."""
    if path.is_dir():
        pieces = json.loads((path / SETTINGS).read_text("utf-8"))["pieces"]
        return pieces, weights_in(path, pieces)
    with np.load(path) as stored:
        first = {name: stored[name] for name in stored.files}
    return str(first.pop("names")).split("\n"), first


def save(
    out: Path,
    params: Mapping[str, np.ndarray],
    pieces: Sequence[str],
    sizes: Mapping[str, int],
    few: int,
) -> None:
    """Writes what ``talklog.notereader.load`` reads; ``few``: bits of the encoder's matrices."""
    out.mkdir(parents=True, exist_ok=True)
    np.savez(out / WEIGHTS, **pack(params, bits_of(params, few)))
    settings = json.dumps({"sizes": dict(sizes), "pieces": list(pieces)})
    (out / SETTINGS).write_text(settings, "utf-8")


def weights_in(folder: Path, pieces: Sequence[str]) -> dict[str, np.ndarray]:
    """The weights that ``save`` wrote, of a network that knows the same pieces of words."""
    if json.loads((folder / SETTINGS).read_text("utf-8"))["pieces"] != list(pieces):
        raise click.UsageError(f"{folder}: learned other pieces of words; train it again")
    with np.load(folder / WEIGHTS) as stored:
        return unpack({name: stored[name] for name in stored.files})


def read_lessons(path: Path, table: Mapping[str, int]) -> list[Lesson]:
    """What ``prepare`` wrote."""
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        return [lesson_of(json.loads(line), table) for line in lines]


def train(
    lessons: Mapping[str, Sequence[Lesson]],
    table: Mapping[str, int],
    start: Mapping[str, np.ndarray],
    wanted: Mapping[str, Any],
    keep: Callable[[dict[str, np.ndarray]], None],
    *,
    workers: int = 0,
    teachers: Sequence[dict[str, np.ndarray]] = (),
) -> dict[str, np.ndarray]:
    """The averaged weights after ``wanted["steps"]`` steps. ``start``: weights of the encoder, or
    all, to go on from; ``keep`` is called with those so far whenever figures are shown."""
    torch.manual_seed(wanted["seed"])
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    params = _first_params(table, start, wanted, device)
    loop = _Loop(params, wanted, [torched(teacher, device) for teacher in teachers])
    own = torch.utils.data.DataLoader(
        Batches(lessons["train"], table, wanted), batch_size=None, num_workers=workers,
        collate_fn=lambda batch: batch, prefetch_factor=4 if workers else None,
    )  # fmt: skip
    dev = [torched(batch_of(lessons["dev"][at : at + 32], table), device)
           for at in range(0, len(lessons["dev"]), 32)]  # fmt: skip
    began = time.monotonic()
    for step, batch in zip(range(1, wanted["steps"] + 1), own, strict=False):
        loss = loop.step(torched(batch, device), step)
        if step % wanted["shown"] == 0 or step == wanted["steps"]:
            found = figures(as_kept(loop.average, wanted["bits"]), dev)
            click.echo(f"{step} {time.monotonic() - began:.0f} s loss {loss.item():.3f} {found}")
            keep(_arrays(loop.average))
    return _arrays(loop.average)


def _arrays(params: Mapping[str, Any]) -> dict[str, np.ndarray]:
    return {name: param.cpu().numpy() for name, param in params.items()}


def _first_params(
    table: Mapping[str, int],
    start: Mapping[str, np.ndarray],
    wanted: Mapping[str, Any],
    device: Any,
) -> dict[str, Any]:
    wide = shapes(**wanted["sizes"], pieces=len(table), roles=len(ROLES),
                  quantities=len(QUANTITIES))  # fmt: skip
    first = first_weights(wide, seed=wanted["seed"])
    own = {*first, NEAR} & set(start)
    first |= {name: start[name].astype("float32") for name in own}
    return {name: torch.tensor(value, device=device, requires_grad=True)
            for name, value in first.items()}  # fmt: skip


class _Loop:
    """Steps of AdamW with a learning rate that rises and falls, and the running average."""

    def __init__(
        self, params: dict[str, Any], wanted: Mapping[str, Any], teachers: Sequence[dict[str, Any]]
    ) -> None:
        self.params, self.wanted, self.teachers = params, wanted, teachers
        self.average = {name: param.detach().clone() for name, param in params.items()}
        self.drops = Drops(**wanted["drop"])
        read = [param for name, param in params.items() if name.startswith("encoder")]
        new = [param for name, param in params.items() if not name.startswith("encoder")]
        self.optimizer = torch.optim.AdamW(
            [{"params": new, "lr": wanted["rate"]}, {"params": read, "lr": wanted["encoder_rate"]}],
            weight_decay=wanted["decay"],
        )
        self.schedule = torch.optim.lr_scheduler.LambdaLR(self.optimizer, self._rate)

    def _rate(self, step: int) -> float:
        rising = (step + 1) / self.wanted["warmup"]
        return min(1.0, rising, max(0.02, 1 - step / self.wanted["steps"]))

    def step(self, batch: Batch, at: int) -> Any:
        rounding = at > self.wanted["steps"] * (1 - self.wanted["rounded"])
        bits = self.wanted["bits"]
        loss = self._loss(as_kept(self.params, bits) if rounding else self.params, batch)
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.params.values(), 2.0)
        self.optimizer.step()
        self.schedule.step()
        share = min(self.wanted["averaged"], at / (at + 20))
        with torch.no_grad():
            torch._foreach_lerp_(list(self.average.values()), list(self.params.values()), 1 - share)
        return loss.detach()

    def _loss(self, params: Mapping[str, Any], batch: Batch) -> Any:
        """Of the annotations and, with teachers, of what they tell of the same notes with the same
        clues hidden (Beyer and others 2022)."""
        scores = scores_of(params, batch, self.drops)
        loss = labelled_loss(scores, batch)
        if not self.teachers:
            return loss
        with torch.no_grad():
            told = [scores_of(teacher, batch, Drops()) for teacher in self.teachers]
        unlike = sum(likeness_loss(scores, own) for own in told) / len(told)
        return (1 - self.wanted["trust"]) * loss + self.wanted["trust"] * unlike


if __name__ == "__main__":
    main()
