"""A model folder and names -> a copy of the model that hears them."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from talklog.errors import ModelError
from talklog.own_words.graph import COST, Graph, Phones
from talklog.own_words.sounds import guess
from talklog.own_words.word_list import OwnName

MARK = "own-words.txt"  # lies in a copy that this made, and lists what was added
MOST_WAYS = 4  # of saying one name


@dataclass(frozen=True, slots=True)
class Added:
    """A name with the phones by which it is now heard; ``how`` is "given", "known" or "guessed"."""

    words: tuple[str, ...]
    phones: tuple[Phones, ...]
    how: str


def add_words(model: Path, names: Sequence[OwnName], out: Path) -> tuple[Added, ...]:
    """Copy the model to ``out`` with the names in it; ``out`` is replaced if this made it before.

    Raises ModelError when the model has another layout, or ``out`` is something else.
    """
    if out.exists() and (not (out / MARK).is_file() or out.resolve() == model.resolve()):
        raise ModelError(f"{out}: is there already and is no copy made by this; name another --out")
    graph = Graph(model)
    added = tuple(_add(graph, name) for name in names)
    fresh = out.with_name(f"{out.name}.new")
    shutil.rmtree(fresh, ignore_errors=True)
    shutil.copytree(model, fresh, ignore=shutil.ignore_patterns("HCLG.fst", MARK))
    graph.write(fresh / "graph")
    (fresh / MARK).write_text("".join(f"{line(one)}\n" for one in added), encoding="utf-8")
    shutil.rmtree(out, ignore_errors=True)
    fresh.rename(out)
    return added


def line(added: Added) -> str:
    """ "stern tube = S T ER N | T UW B   (known)": in the form of a word file, with a comment."""
    sounds = " | ".join(" ".join(phones) for phones in added.phones)
    return f"{' '.join(added.words)} = {sounds}  # {added.how}"


def _add(graph: Graph, name: OwnName) -> Added:
    ways, how = _ways(graph, name)
    graph.add(name.words, ways, COST)
    return Added(name.words, ways[0], how)


def _ways(graph: Graph, name: OwnName) -> tuple[list[tuple[Phones, ...]], str]:
    """Ways to say all words of a name: the first of each word, then each other one in turn."""
    if name.sounds is not None:
        return [name.sounds], "given"
    known = [graph.sounds(word) for word in name.words]
    sounds = [
        have or guess(word, graph.sounds) for word, have in zip(name.words, known, strict=True)
    ]
    first = tuple(ways[0] for ways in sounds)
    ways = [first]
    for place, others in enumerate(sounds):
        ways += [(*first[:place], other, *first[place + 1 :]) for other in others[1:]]
    return ways[:MOST_WAYS], "known" if all(known) else "guessed"
