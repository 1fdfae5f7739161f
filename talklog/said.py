"""Words and phrases -> where which of the phrases is said."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from functools import lru_cache

from talklog.transcript import Word
from talklog.word_kinds import Phrase


def said(words: Sequence[Word], phrases: Collection[str | Phrase]) -> Iterator[tuple[int, int]]:
    """The first and last words of each of the phrases ("no drop" or ("no", "drop")) that is said,
    in the order of the words, the longest at one place first. ``phrases`` is kept in a cache, and
    so must be a tuple or a frozenset."""
    starts = _by_first(phrases)
    texts = tuple(word.text for word in words)
    for first, text in enumerate(texts):
        for phrase in starts.get(text, ()):
            if texts[first : first + len(phrase)] == phrase:
                yield first, first + len(phrase) - 1


@lru_cache(maxsize=64)
def _by_first(phrases: Collection[str | Phrase]) -> dict[str, tuple[Phrase, ...]]:
    """The phrases by their first words, long ones first."""
    found: dict[str, list[Phrase]] = {}
    split = (tuple(p.split()) if isinstance(p, str) else p for p in phrases)
    for phrase in sorted(split, key=len, reverse=True):
        found.setdefault(phrase[0], []).append(phrase)
    return {first: tuple(own) for first, own in found.items()}
