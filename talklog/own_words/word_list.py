"""A user's file of words -> names, strictly.

One name a line, of one or more words; ``#`` begins a comment. After ``=`` may stand how it sounds,
in ARPAbet phones, the words parted by ``|``:

    stern tube
    klunkomat = K L AH NG K AH M AE T
    wobble rod = W AA B AH L | R AA D
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from talklog.errors import DataFileError

_PHONES = """
AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH
"""
PHONES = frozenset(_PHONES.split())
MOST_NAMES = 2_000
MOST_WORDS = 5  # of one name
_WORD = re.compile(r"[a-z]+(?:'[a-z]+)*")


@dataclass(frozen=True, slots=True)
class OwnName:
    """The words of a name, and the phones of each if they were given."""

    words: tuple[str, ...]
    sounds: tuple[tuple[str, ...], ...] | None = None


def read_word_list(path: Path) -> tuple[OwnName, ...]:
    """The names of a file in order, each once. Raises DataFileError naming every line at fault."""
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DataFileError(f"{path}: cannot be read as UTF-8 text ({error})") from None
    found: dict[OwnName, None] = {}
    wrong = []
    for number, line in enumerate(text.splitlines(), 1):
        if line := line.partition("#")[0].strip():
            try:
                found[_name(line)] = None
            except ValueError as error:
                wrong.append(f"line {number}: {error}")
    if not found and not wrong:
        wrong = ["there is no word in it; write one name a line"]
    if len(found) > MOST_NAMES:
        wrong.append(f"{len(found)} names are more than the {MOST_NAMES} that can be added")
    if wrong:
        raise DataFileError(f"{path}: {'; '.join(wrong)}")
    return tuple(found)


def _name(line: str) -> OwnName:
    spelled, equals, spoken = line.partition("=")
    words = tuple(spelled.lower().replace("-", " ").split())
    if not 1 <= len(words) <= MOST_WORDS:
        raise ValueError(f"a name has 1 to {MOST_WORDS} words, not {len(words)}")
    for word in words:
        if not _WORD.fullmatch(word):
            raise ValueError(f"{word!r} is not spelled in letters; write it as it is said")
    if not equals:
        return OwnName(words)
    sounds = tuple(tuple(part.split()) for part in spoken.upper().split("|"))
    if len(sounds) != len(words) or not all(sounds):
        raise ValueError(f"{len(words)} words need as many sounds, parted by |")
    if unknown := {phone for sound in sounds for phone in sound} - PHONES:
        raise ValueError(f"{', '.join(sorted(unknown))}: no ARPAbet phone (README lists them)")
    return OwnName(words, sounds)
