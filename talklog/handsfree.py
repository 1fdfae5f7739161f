"""Step 2b: the words that steer talklog by voice, found in a transcript and kept out of the note.

"scratch the last reading" becomes "[drop]" and signs without meaning, so that no number or name of
a note reaches across it, and step 5 sets the reading before it aside. Words keep their indices.
What is said from a pause until the words that go on is passed over; a pause that nobody ends is not
obeyed, for it may have been misheard and a whole note would be lost. The phrases stand in
``data/handsfree.toml``.
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


@dataclass(frozen=True, slots=True)
class PassedOver:
    """Words ``first..last`` that were said while talklog was told not to listen."""

    first: int
    last: int


def sign_of(name: str) -> str:
    """The word that stands for a command in a note: "[drop]"."""
    return f"[{name.replace('_', ' ')}]"


DROP = sign_of("drop")
ASIDE = "[aside]"  # a word that is no part of the note


def obey(transcript: Transcript) -> Transcript:
    """The transcript with signs in place of commands and of what was passed over, as many words as
    before. Typed text has no commands.

    Raises DataFileError for a broken file of phrases.
    """
    if transcript.source.kind != "audio":
        return transcript
    signs: dict[int, str] = {}
    for span in (*passed_over(transcript), *find_commands(transcript.words)):
        signs |= dict.fromkeys(range(span.first, span.last + 1), ASIDE)
        if isinstance(span, Command):
            signs[span.first] = sign_of(span.name)
    words = (
        replace(word, text=signs.get(at, word.text)) for at, word in enumerate(transcript.words)
    )
    return replace(transcript, words=tuple(words)) if signs else transcript


def passed_over(transcript: Transcript) -> list[PassedOver]:
    """What was said between a pause and the next words that go on, where anything was."""
    if transcript.source.kind != "audio":
        return []
    found, pause = [], None
    for command in find_commands(transcript.words):
        if command.name == "pause" and pause is None:
            pause = command
        elif command.name == "go_on" and pause is not None:
            if command.first > pause.last + 1:
                found.append(PassedOver(pause.last + 1, command.first - 1))
            pause = None
    return found


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
