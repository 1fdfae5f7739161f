"""Step 3b: words -> mentions of units, components, places, quantities, actions and cues.

The only module that imports spaCy: its phrase matcher finds all phrases of the vocabulary in one
pass over the transcript's own words (its tokeniser is not used, so word indices stay true).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, Protocol, TypeVar

from talklog.numbers import NumberRun, find_numbers
from talklog.transcript import Transcript
from talklog.vocabulary import Cue, UnitWords, Vocabulary, load

REACH = 40  # words: no cue and no neighbourhood is wider


@dataclass(frozen=True, slots=True)
class Mention:
    """A phrase at words ``first..last``. ``kind`` is unit, component, position, quantity, action or
    condition; ``name`` its vocabulary name ("thou", "tyre"); several units may share words."""

    kind: str
    name: str
    first: int
    last: int
    units: tuple[UnitWords, ...] = ()


@dataclass(frozen=True, slots=True)
class CueMention:
    """A cue at words ``first..last``."""

    cue: Cue
    first: int
    last: int


@dataclass(frozen=True)
class Mentions:
    """Everything found, each list in the order of the words."""

    numbers: tuple[NumberRun, ...]
    spans: tuple[Mention, ...]
    cues: tuple[CueMention, ...]

    def of(self, kind: str) -> tuple[Mention, ...]:
        return self._by_kind.get(kind, ())

    @cached_property
    def _by_kind(self) -> dict[str, tuple[Mention, ...]]:
        kinds: dict[str, list[Mention]] = {}
        for span in self.spans:
            kinds.setdefault(span.kind, []).append(span)
        return {kind: tuple(spans) for kind, spans in kinds.items()}


class _Placed(Protocol):
    @property
    def first(self) -> int: ...


Placed = TypeVar("Placed", bound=_Placed)


def near(items: Sequence[Placed], first: int, last: int) -> Sequence[Placed]:
    """Those of the items (in order of the words) that begin within REACH words of a span, so that
    the work for a long note grows with its length and not with its square."""
    low = bisect_left(items, first - REACH, key=lambda item: item.first)
    return items[low : bisect_right(items, last + REACH, key=lambda item: item.first)]


def find_mentions(transcript: Transcript) -> Mentions:
    """All numbers and phrases of a note. Overlapping phrases of one kind: the longest counts."""
    matcher, labels = _matcher()
    words = [word.text or " " for word in transcript.words]
    found = list(_matches(matcher, labels, words))
    spans = [
        _mention(kind, names, first, last) for kind, names, first, last in found if kind != "cue"
    ]
    spans += _written_units(transcript)
    cues = [
        CueMention(cue, first, last)
        for kind, names, first, last in found
        if kind == "cue"
        for cue in names
    ]
    return Mentions(
        find_numbers(transcript.words),
        tuple(_longest(spans)),
        tuple(sorted(cues, key=lambda mention: (mention.first, -mention.last))),
    )


def _written_units(transcript: Transcript) -> list[Mention]:
    """Symbols such as "A" or "Nm" right after digits. Only typed text has them, and their capital
    and small letters differ: a spoken "a" is never an ampere."""
    words = transcript.words
    found = []
    for at in range(1, len(words) if transcript.source.kind == "text" else 0):
        symbol = words[at].written or words[at].text
        units = tuple(unit for unit in load().units if symbol in unit.written)
        if units and any(letter.isdigit() for letter in words[at - 1].text):
            found.append(Mention("unit", units[0].name, at, at, units))
    return found


def _mention(kind: str, names: tuple[Any, ...], first: int, last: int) -> Mention:
    if kind == "unit":
        return Mention(kind, names[0].name, first, last, names)
    return Mention(kind, names[0], first, last)


@lru_cache(maxsize=1)
def _matcher() -> tuple[Any, dict[str, tuple[str, tuple[Any, ...]]]]:
    """One matcher for all phrases, and what each of its labels stands for."""
    import spacy
    from spacy.matcher import PhraseMatcher
    from spacy.tokens import Doc

    nlp = spacy.blank("en")
    matcher = PhraseMatcher(nlp.vocab, attr="LOWER")
    labels = {}
    for number, ((kind, phrase), names) in enumerate(_phrases(load()).items()):
        label = f"{kind}{number}"
        labels[label] = (kind, tuple(names))
        matcher.add(label, [Doc(nlp.vocab, words=list(phrase))])
    return (matcher, nlp.vocab), labels


def _phrases(vocabulary: Vocabulary) -> dict[tuple[str, tuple[str, ...]], list[Any]]:
    found: dict[tuple[str, tuple[str, ...]], list[Any]] = {}
    for unit in vocabulary.units:
        for phrase in unit.phrases:
            found.setdefault(("unit", phrase), []).append(unit)
    for kind in ("component", "position", "action", "condition"):
        for name, phrases in getattr(vocabulary, f"{kind}s").items():
            for phrase in phrases:
                found.setdefault((kind, phrase), []).append(name)
    for name, phrases in vocabulary.quantities.items():
        for phrase in phrases:
            found.setdefault(("quantity", phrase), []).append(name)
    for cue in vocabulary.cues:
        found.setdefault(("cue", cue.phrase), []).append(cue)
    return found


def _matches(matcher: Any, labels: dict[str, Any], words: list[str]) -> Iterator[Any]:
    from spacy.tokens import Doc

    match, vocab = matcher
    for label, start, end in match(Doc(vocab, words=words)):
        kind, names = labels[vocab.strings[label]]
        yield kind, names, start, end - 1


def _longest(spans: list[Mention]) -> list[Mention]:
    """Drops a span that lies within, or begins inside, a longer one of its kind."""
    kept: dict[str, list[Mention]] = {}
    for span in sorted(spans, key=lambda s: (s.first - s.last, s.first)):
        same = kept.setdefault(span.kind, [])
        if all(span.last < other.first or span.first > other.last for other in same):
            same.append(span)
    return sorted((s for same in kept.values() for s in same), key=lambda s: (s.first, s.last))
