"""What talklog looks for in a note -> the words of it that a speech model can never hear."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from talklog.errors import ModelError
from talklog.vocabulary import load
from talklog.word_kinds import Phrase


def unheard(model: Path) -> dict[str, tuple[str, ...]]:
    """Kind of vocabulary ("components", "units" ...) -> words that are not in the model.

    Forms as they are written only ("mm", "m8") and other spellings of words that the model has
    under one spelling stand here too: nobody loses anything by them. Raises ModelError when the
    model has no word table.
    """
    path = next((p for p in (model / "graph/words.txt", model / "words.txt") if p.is_file()), None)
    if path is None:
        raise ModelError(f"{model}: has no words.txt, so what it can hear cannot be listed")
    lines = path.read_text(encoding="utf-8").splitlines()
    known = {line.split()[0].lower() for line in lines if line.strip()}
    found = {}
    for kind, phrases in _vocabulary():
        missing = {word for phrase in phrases for word in phrase if word not in known}
        found[kind] = tuple(sorted(word for word in missing if _sayable(word, known)))
    return found


def _sayable(word: str, known: set[str]) -> bool:
    """Without "batterieses": the vocabulary makes a plural of every noun, plurals too."""
    stem = word.removesuffix("es")
    doubled = stem != word and stem.endswith("s") and stem in known
    return word.replace("'", "").isalpha() and not doubled


def _vocabulary() -> Iterator[tuple[str, list[Phrase]]]:
    words = load()
    yield "units", [phrase for unit in words.units for phrase in unit.phrases]
    named = ("components", "positions", "quantities", "actions", "conditions")
    for kind in named:
        yield kind, [phrase for phrases in getattr(words, kind).values() for phrase in phrases]
    yield "cues", [cue.phrase for cue in words.cues]
    yield "times", [*words.events, *((word,) for word in words.durations)]
