"""How a word sounds -> phones, guessed from known words and from its letters.

Phones are the 39 ARPAbet symbols of CMUdict without stress marks.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from importlib.resources import files

Phones = tuple[str, ...]
# Letters seen before and behind the one in question, from narrow to wide. "#" is the word's edge.
CONTEXTS = ((0, 0), (0, 1), (1, 1), (1, 2), (2, 2), (2, 3), (3, 3), (3, 4))
EDGE = "#"
SHORTEST = 3  # letters of each half of a compound
VOICELESS = ("P", "T", "K", "F", "TH")
HISSING = ("S", "Z", "SH", "ZH", "CH", "JH")


def guess(word: str, known: Callable[[str], tuple[Phones, ...]]) -> tuple[Phones, ...]:
    """Ways to say a word that the model lacks, likeliest first: as the plural of a known word, as
    two known words in one ("wheelnut"), or by its letters. ``known`` tells the sounds of a word."""
    if word.endswith("s") and len(word) > SHORTEST and (stems := known(word[:-1])):
        return tuple((*stem, *_plural(stem[-1])) for stem in stems)
    for cut in sorted(range(SHORTEST, len(word) - SHORTEST + 1), key=lambda c: -c):
        left, right = known(word[:cut]), known(word[cut:])
        if left and right:
            return (left[0] + right[0], by_letters(word, _table()))
    return (by_letters(word, _table()),)


def _plural(last: str) -> Phones:
    if last in HISSING:
        return ("IH", "Z")
    return ("S",) if last in VOICELESS else ("Z",)


def by_letters(word: str, table: Mapping[str, str]) -> Phones:
    """By the widest context of each letter that the table has; a letter it lacks is silent."""
    phones: list[str] = []
    for at in range(len(word)):
        keys = (context(word, at, width) for width in range(len(CONTEXTS) - 1, -1, -1))
        phones += next((table[key] for key in keys if key in table), "").split()
    return tuple(phones)


def context(word: str, at: int, width: int) -> str:
    """ "ga|s|ke": a letter of the word with so many of its neighbours."""
    before, after = CONTEXTS[width]
    edged = EDGE * before + word + EDGE * after
    place = at + before
    return f"{edged[place - before : place]}|{word[at]}|{edged[place + 1 : place + 1 + after]}"


@lru_cache(maxsize=1)
def _table() -> dict[str, str]:
    return json.loads((files("talklog") / "data" / "letters.json").read_text("utf-8"))
