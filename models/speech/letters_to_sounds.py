"""Lexicon -> the table by which talklog guesses how a user's word sounds.

    python -m models.speech.letters_to_sounds work/lexicon.tsv [--held-out 20]

Each letter is aligned with none, one or two phones (expectation by the likeliest path, six rounds);
then, for each letter, ever wider contexts of letters around it are kept where they change what the
narrower one says. Writes talklog/data/letters.json; with --held-out N, every Nth word is left out
and the share of them that come out right in all phones is printed instead.
"""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from pathlib import Path

import click

from talklog.own_words.sounds import CONTEXTS, by_letters, context

from .graph import read_lexicon

OUT = Path(__file__).parents[2] / "talklog" / "data" / "letters.json"
ROUNDS = 6
LEAST = 3  # times that a context must have been seen
MOST_PHONES = 2  # of one letter
Aligned = list[tuple[str, list[tuple[str, ...]]]]


def align(lexicon: list[tuple[str, list[str]]]) -> Aligned:
    """Each word with the phones of each of its letters."""
    counts: dict[str, Counter] = defaultdict(Counter)
    aligned: Aligned = []
    for _ in range(ROUNDS):
        scores = {
            letter: {part: math.log(n / seen.total()) for part, n in seen.items()}
            for letter, seen in counts.items()
        }
        aligned = [(w, ways) for w, p in lexicon if (ways := _path(w, tuple(p), scores))]
        counts = defaultdict(Counter)
        for word, ways in aligned:
            for letter, part in zip(word, ways, strict=True):
                counts[letter][part] += 1
    return aligned


def _path(word: str, phones: tuple[str, ...], scores: dict) -> list[tuple[str, ...]] | None:
    """The likeliest shares of the letters; ``None`` when the word is too short for its phones."""
    best: list[dict[int, tuple[float, int]]] = [{0: (0.0, 0)}]
    for letter in word:
        known, row = scores.get(letter), {}
        for at, (score, _) in best[-1].items():
            for size in range(min(MOST_PHONES, len(phones) - at) + 1):
                part = phones[at : at + size]
                step = known.get(part, -12.0) if known else -abs(size - 1)
                if score + step > row.get(at + size, (-math.inf, 0))[0]:
                    row[at + size] = (score + step, at)
        best.append(row)
    if len(phones) not in best[-1]:
        return None
    at, ways = len(phones), []
    for row in reversed(best[1:]):
        ways.append(phones[row[at][1] : at])
        at = row[at][1]
    return ways[::-1]


def table_of(aligned: Aligned) -> dict[str, str]:
    """Context -> phones, wider contexts only where they say something else."""
    counts: list[dict[str, Counter]] = [defaultdict(Counter) for _ in CONTEXTS]
    for word, ways in aligned:
        for at, part in enumerate(ways):
            for width, seen in enumerate(counts):
                seen[context(word, at, width)][" ".join(part)] += 1
    table: dict[str, str] = {}
    for width, seen in enumerate(counts):
        for key, parts in seen.items():
            part, times = parts.most_common(1)[0]
            if (width == 0 or times >= LEAST) and _said(key, width, table) != part:
                table[key] = part
    return table


def _said(key: str, width: int, table: dict[str, str]) -> str | None:
    """What narrower contexts say of this one."""
    left, letter, right = key.split("|")
    for narrower in range(width - 1, -1, -1):
        before, after = CONTEXTS[narrower]
        short = f"{left[len(left) - before :]}|{letter}|{right[:after]}"
        if short in table:
            return table[short]
    return None


@click.command(help=__doc__)
@click.argument("lexicon", type=click.Path(path_type=Path, exists=True))
@click.option("--held-out", type=int)
def main(lexicon: Path, held_out: int | None) -> None:
    entries = [(w, p) for w, p in read_lexicon(lexicon) if len(w) > 2]
    kept = [e for e in entries if not held_out or sum(e[0].encode()) % held_out]
    table = table_of(align(kept))
    if not held_out:
        OUT.write_text(json.dumps(table, sort_keys=True, indent=0) + "\n", encoding="utf-8")
        click.echo(f"{len(table)} contexts, {OUT.stat().st_size / 1e3:.0f} kB")
        return
    right: dict[str, bool] = {}
    for word, phones in entries:
        if not sum(word.encode()) % held_out:
            right[word] = right.get(word, False) or by_letters(word, table) == tuple(phones)
    click.echo(f"{sum(right.values()) / len(right):.1%} of {len(right)} words right in all phones")


if __name__ == "__main__":
    main()
