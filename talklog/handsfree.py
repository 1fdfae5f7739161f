"""Step 2b: the words that steer talklog by voice, found in a transcript and kept out of the note.

"scratch the last reading" becomes one word, "[drop]", so that no number or name of a note reaches
across it, and step 5 sets the reading before it aside. Phrases: ``data/handsfree.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

from talklog.errors import DataFileError
from talklog.transcript import Transcript, Word

FILE = "handsfree.toml"
COMMANDS = ("pause", "go_on", "drop", "read_back", "finish")


@dataclass(frozen=True, slots=True)
class Command:
    """A phrase that was obeyed, by its words ``first..last``."""

    name: str
    first: int
    last: int


def sign_of(name: str) -> str:
    """The word that stands for a command in a note: "[drop]"."""
    return f"[{name.replace('_', ' ')}]"


DROP = sign_of("drop")


def obey(transcript: Transcript) -> Transcript:
    """The transcript with each command as one word in brackets. Typed text has no commands.

    Raises DataFileError for a broken file of phrases.
    """
    if transcript.source.kind != "audio":
        return transcript
    words, at = [], 0
    for command in find_commands(transcript.words):
        words += transcript.words[at : command.first]
        words.append(_as_sign(transcript.words[command.first : command.last + 1], command.name))
        at = command.last + 1
    return replace(transcript, words=(*words, *transcript.words[at:])) if words else transcript


def find_commands(words: Sequence[Word]) -> list[Command]:
    """All commands in the order they were said; of two that overlap the first counts."""
    phrases, found, at = _phrases(), [], 0
    texts = [word.text for word in words]
    while at < len(texts):
        name, length = next(
            ((n, len(p)) for p, n in phrases if tuple(texts[at : at + len(p)]) == p), ("", 1)
        )
        if name:
            found.append(Command(name, at, at + length - 1))
        at += length
    return found


def _as_sign(said: Sequence[Word], name: str) -> Word:
    heard = [word.confidence for word in said if word.confidence is not None]
    return replace(
        said[0], text=sign_of(name), end=said[-1].end, confidence=min(heard) if heard else None
    )


@lru_cache(maxsize=1)
def _phrases() -> tuple[tuple[tuple[str, ...], str], ...]:
    """(words, command), longest first."""
    return parse((files("talklog") / "data" / FILE).read_text("utf-8"))


def parse(text: str) -> tuple[tuple[tuple[str, ...], str], ...]:
    """The phrases of a file. Raises DataFileError for an unknown command or a phrase of one word,
    which would be obeyed by chance."""
    try:
        table = tomllib.loads(text)["command"]
    except (tomllib.TOMLDecodeError, KeyError) as error:
        raise DataFileError(f"{FILE}: needs a table [command] ({error}); mend the file") from None
    if set(table) != set(COMMANDS):
        raise DataFileError(f"{FILE}: the commands must be {', '.join(COMMANDS)}")
    pairs = [(tuple(phrase.split()), name) for name, said in table.items() for phrase in said]
    if short := [" ".join(words) for words, _ in pairs if len(words) < 2]:
        raise DataFileError(f"{FILE}: {short[0]!r} is one word; use at least two")
    return tuple(sorted(pairs, key=lambda pair: -len(pair[0])))
