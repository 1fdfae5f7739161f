"""A word with digits in it -> its tokens: "12,500", "1/4", "3-1/2", "10-15", "2nd", "±0.1"."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from talklog.number_words.kinds import Token

_GROUPS = "[0-9]{1,3}(?:,[0-9]{3})+"
_FORMS = (  # kind, pattern, in the order they are tried
    ("typed_integer", re.compile(rf"{_GROUPS}|[0-9]+")),
    ("typed_decimal", re.compile(rf"(?:{_GROUPS}|[0-9]*)\.[0-9]+|0,[0-9]+")),
    ("typed_part", re.compile(r"[0-9]+/0*[1-9][0-9]*")),
    ("typed_mixed", re.compile(r"[0-9]+-[0-9]+/0*[1-9][0-9]*")),
    ("typed_range", re.compile(r"(?:[0-9]*\.)?[0-9]+[-–](?:[0-9]*\.)?[0-9]+")),
    ("typed_ordinal", re.compile(r"[0-9]+(?:st|nd|rd|th)")),
)
_SIGN = re.compile(r"\+/-|[-−+±]")
_SIGNS = {"-": "minus", "−": "minus", "±": "plus_minus", "+/-": "plus_minus"}
_GLYPHS = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


def typed_tokens(text: str, index: int, pause: float) -> list[Token]:
    """The number, with its sign as a token before it; none if the word is no number.

    ``index`` is that of the word in the note, ``pause`` the seconds before it.
    """
    text = _with_plain_fractions(text)
    sign = _SIGN.match(text)
    rest = text[sign.end() :] if sign else text
    kind = next((kind for kind, pattern in _FORMS if pattern.fullmatch(rest)), None)
    if kind is None or (kind == "typed_range" and not _rises(rest)):
        return []
    number = Token(kind, 0, rest.replace("0,", "0.") if rest.startswith("0,") else rest, index, 0)
    if sign and sign[0] in _SIGNS:
        return [Token(_SIGNS[sign[0]], 0, sign[0], index, pause), number]
    return [replace(number, pause=pause)]


def range_ends(text: str) -> tuple[str, str]:
    """ "10-15" -> "10", "15"."""
    low, high = (f"0{end}" if end.startswith(".") else end for end in re.split("[-–]", text))
    return low, high


def _with_plain_fractions(text: str) -> str:
    """ "1½" -> "1-1/2"."""
    for glyph, written in _GLYPHS.items():
        text = text.replace(glyph, f"-{written}" if text[:1].isdigit() else written)
    return text


def _rises(text: str) -> bool:
    low, high = map(Decimal, range_ends(text))
    return low < high
