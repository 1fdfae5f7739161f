"""Phonetic symbols -> the 39 ARPAbet phones, for the two alphabets that our sources write.

* misaki's dictionaries (PyPI misaki, Apache-2.0): IPA with capitals for diphthongs.
* espeak-ng's --ipa output, voices en-gb and en-us.

British sounds that ARPAbet has no phone for take the nearest: the vowel of "lot" is AA, of
"goat" OW, of "bath" AA, of "trap" AE; the centring diphthongs of "near", "square" and "cure"
are IH AH, EH AH and UH AH, or without the AH before R. Own judgement, checked by the tests
against CMUdict on words without an accent difference.
"""

from __future__ import annotations

VOWELS = frozenset("AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split())  # noqa: SIM905

CONSONANTS = {
    "tʃ": "CH", "dʒ": "JH", "ʧ": "CH", "ʤ": "JH", "ŋ": "NG", "ʃ": "SH", "ʒ": "ZH", "θ": "TH",
    "ð": "DH", "ɹ": "R", "r": "R", "ʔ": "T", "j": "Y", "ɡ": "G", "g": "G", "h": "HH", "x": "K",
    "ç": "K", "ɬ": "L", "b": "B", "d": "D", "f": "F", "k": "K", "l": "L", "m": "M", "n": "N",
    "p": "P", "s": "S", "t": "T", "v": "V", "w": "W", "z": "Z",
}  # fmt: skip
SHARED = CONSONANTS | {
    "A": "EY", "I": "AY", "O": "OW", "Q": "OW", "W": "AW", "Y": "OY", "eɪ": "EY", "aɪ": "AY",
    "aʊ": "AW", "ɔɪ": "OY", "oʊ": "OW", "əʊ": "OW", "iː": "IY", "uː": "UW", "i": "IY", "u": "UW",
    "ɪ": "IH", "ᵻ": "IH", "ɛ": "EH", "e": "EH", "æ": "AE", "ʌ": "AH", "ɐ": "AH", "ə": "AH",
    "ᵊ": "AH", "ʊ": "UH", "ɑː": "AA", "ɑ": "AA", "ɔː": "AO", "ɔ": "AO", "oː": "AO", "o": "OW",
    "ɒ": "AA", "a": "AE", "əl": "AH L", "n̩": "AH N", "l̩": "AH L", "m̩": "AH M",
}  # fmt: skip
BRITISH = SHARED | {
    "ɜː": "ER", "ɜ": "ER", "ɪə": "IH AH", "iə": "IH AH", "ʊə": "UH AH", "ɛː": "EH AH",
    "eə": "EH AH", "ɛə": "EH AH", "ɪəɹ": "IH R", "ʊəɹ": "UH R", "ɛːɹ": "EH R", "eəɹ": "EH R",
    "ɛəɹ": "EH R",
}  # fmt: skip
AMERICAN = SHARED | {
    "ɜːɹ": "ER", "ɜɹ": "ER", "ɜː": "ER", "ɜ": "ER", "əɹ": "ER", "ɚ": "ER", "oːɹ": "AO R",
    "ɪɹ": "IH R", "ɛɹ": "EH R", "aɪɚ": "AY ER", "aʊɚ": "AW ER", "iə": "IY AH",
}  # fmt: skip
LONGEST = 3
IGNORED = frozenset("ˈˌ ː͡_-‿\u0303\u0329")
FLAP = "ɾ"


def arpabet(sound: str, accent: str, word: str = "") -> tuple[str, ...]:
    """Phones of one word's phonetic text; accent is "gb" or "us".

    word is the spelling: it says whether a flap (American "ladder", "latter") is D or T.
    Raises ValueError on a symbol that stands in no table.
    """
    table = BRITISH if accent == "gb" else AMERICAN
    sound = "".join(symbol for symbol in sound if symbol not in "ˈˌ _")
    phones: list[str] = []
    at = 0
    while at < len(sound):
        size = next((n for n in range(LONGEST, 0, -1) if sound[at : at + n] in table), 0)
        if size:
            phones += table[sound[at : at + size]].split()
        elif sound[at] == FLAP:
            phones.append("D" if "d" in word and "t" not in word else "T")
        elif sound[at] not in IGNORED:
            raise ValueError(f"{sound!r}: no phone for {sound[at]!r}")
        at += size or 1
    return tuple(phones)
