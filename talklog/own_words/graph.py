"""The decoding graph of talklog's model: what it knows of a word, and new words put into it.

The graph is a transducer from the transitions of the sounds' models to words. It has one state in
which any word may begin whatever stood before it (the language model's last resort): of all states
the one that most arcs without a sound lead to. A new name is a new path from there and back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from talklog.errors import ModelError
from talklog.own_words import graph_file

Phones = tuple[str, ...]
SILENCE = "SIL"
LOOPING = ("B", "I")  # places in a word after which a sound may go on
NO_PAUSE = PAUSE = 0.693147  # natural logarithms: a pause after a word or none, even odds
# What a name costs: that of a word said once in some 150 words. Lower made the development figures
# of other words worse, higher missed names.
COST = 5.0
MOST_STEPS = 60  # arcs of one word


@dataclass(frozen=True, slots=True)
class Sounding:
    """Transition ids of a phone in one place of a word: into it, and its own loop (0 for none)."""

    enter: int
    loop: int


class Graph:
    """``graph/HCLG.fst`` with its word and phone tables. Raises ModelError for another layout."""

    def __init__(self, model: Path) -> None:
        self.folder = model / "graph"
        try:
            self.words = _table(self.folder / "words.txt")
            self.phones = _soundings(self.folder / "phones.txt")
            self.fst = graph_file.read(self.folder / "HCLG.fst")
        except (OSError, ValueError, KeyError) as error:
            raise ModelError(
                f"{model}: words can only be added to talklog's own model or a copy ({error})"
            ) from None
        self.begin = self._beginning()
        self._names = {ids.enter: phone for phone, ids in self.phones.items()}

    def _beginning(self) -> int:
        silent = [arcs["target"][arcs["input"] == 0] for arcs in self.fst.arcs]
        (state, _), *_ = Counter(np.concatenate(silent).tolist()).most_common(1)
        return state

    def sounds(self, word: str) -> tuple[Phones, ...]:
        """Every way a word of the graph is said; none for a word that it lacks."""
        wanted = self.words.get(word)
        if wanted is None:
            return ()
        found: dict[Phones, None] = {}
        todo: list[tuple[int, Phones, bool]] = [(self.begin, (), False)]
        while todo:
            state, said, named = todo.pop()
            for source, output, _, target in self.fst.arcs[state].tolist():
                phone = self._names.get(source)
                if phone in (None, SILENCE) or output not in (0, wanted) or len(said) > MOST_STEPS:
                    continue
                longer = (*said, phone[:-2])
                if phone[-1] in LOOPING:
                    todo.append((target, longer, named or output == wanted))
                elif named or output == wanted:
                    found[longer] = None
        return tuple(found)

    def add(self, words: tuple[str, ...], ways: Iterable[tuple[Phones, ...]], cost: float) -> None:
        """A name of one or more words; each way gives the phones of every word."""
        ids = [self.words.setdefault(word, len(self.words)) for word in words]
        for way in ways:
            state = self.begin
            for place, (number, phones) in enumerate(zip(ids, way, strict=True)):
                last = place == len(ids) - 1
                state = self._word(state, number, phones, 0.0 if place else cost, last)

    def _word(self, state: int, number: int, phones: Phones, cost: float, last: bool) -> int:
        """A path for one word, with or without a pause after it. Returns where it ends."""
        output = number
        for place, phone in enumerate(phones[:-1]):
            sounding = self.phones[f"{phone}_{'I' if place else 'B'}"]
            state = self._step(state, sounding, output, cost)
            output, cost = 0, 0.0
        ids = self.phones[f"{phones[-1]}_{'E' if len(phones) > 1 else 'S'}"]
        end = self.begin if last else self._state()
        self._arc(state, ids.enter, output, cost + NO_PAUSE, end)
        before = self._state()
        self._arc(state, ids.enter, output, cost + PAUSE, before)
        self._arc(self._step(before, self.phones[SILENCE], 0, 0.0), 0, 0, 0.0, end)
        return end

    def _step(self, state: int, sounding: Sounding, output: int, cost: float) -> int:
        """A new state behind a sound, in which the sound may go on."""
        target = self._state()
        self._arc(state, sounding.enter, output, cost, target)
        if sounding.loop:
            self._arc(target, sounding.loop, 0, 0.0, target)
        return target

    def _state(self) -> int:
        self.fst.arcs.append(graph_file.arcs([]))
        self.fst.finals.append(float("inf"))
        return len(self.fst.arcs) - 1

    def _arc(self, state: int, source: int, output: int, cost: float, target: int) -> None:
        added = graph_file.arcs([(source, output, cost, target)])
        self.fst.arcs[state] = np.concatenate([self.fst.arcs[state], added])

    def write(self, folder: Path) -> None:
        """HCLG.fst and words.txt into another model's graph folder."""
        graph_file.write(folder / "HCLG.fst", self.fst)
        text = "".join(f"{word} {number}\n" for word, number in self.words.items())
        (folder / "words.txt").write_text(text, encoding="utf-8")


def _table(path: Path) -> dict[str, int]:
    lines = path.read_text(encoding="utf-8").splitlines()
    table = {word: int(number) for word, number in (line.split() for line in lines)}
    if sorted(table.values()) != list(range(len(table))):
        raise ValueError(f"{path.name} skips a number")
    return table


def _soundings(path: Path) -> dict[str, Sounding]:
    """Transition ids in the order of the phones: two for a sound with a loop, the loop first."""
    found, highest = {}, 0
    names = [line.split()[0] for line in path.read_text(encoding="utf-8").splitlines()]
    if names[:2] != ["<eps>", SILENCE]:
        raise ValueError(f"{path.name} begins otherwise")
    for name in names[1:]:
        loops = name == SILENCE or name[-2:] in ("_B", "_I")
        found[name] = Sounding(highest + 1 + loops, highest + 1 if loops else 0)
        highest += 1 + loops
    return found
