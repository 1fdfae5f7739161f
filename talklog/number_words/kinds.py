"""The types that number words pass through: a token for each word, lines of tokens, and atoms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SHORT_PAUSE = 0.3  # seconds; a break is possible
LONG_PAUSE = 0.6  # seconds; the speaker has probably begun something new
# Tokens that may be part of the number that goes on behind them.
NUMBER_KINDS = ("unit", "teen", "tens", "zero", "scale", "article", "typed_integer", "part")


@dataclass(frozen=True, slots=True)
class Token:
    """A word of a number, or a part of a typed one: "twenty-five" is two tokens. ``kind`` is its
    class in ``data/numbers.toml``; of values "zero", "unit", "teen" or "tens"; of what was typed
    "typed_integer" and so on, with ``text`` as it was written."""

    kind: str
    value: int
    text: str
    word: int  # index into the note
    pause: float  # before it, in seconds
    soft: bool = False  # "one" as a pronoun, "point" as a place: may be left out


class Line:
    """Neighbouring tokens of a note. Asking beyond either end gives an empty kind."""

    def __init__(self, tokens: Sequence[Token], before: str) -> None:
        self.tokens, self.before = tokens, before  # the word before them
        self._long = [0]  # long pauses up to each token
        for at, token in enumerate(tokens):
            counts = token.pause >= LONG_PAUSE and self.kind(at - 1) not in ("point", "scale")
            self._long.append(self._long[-1] + counts)

    def kind(self, at: int) -> str:
        return self.tokens[at].kind if 0 <= at < len(self.tokens) else ""

    def value(self, at: int) -> int:
        return self.tokens[at].value

    def is_scale(self, at: int, scale: int) -> bool:
        return self.kind(at) == "scale" and self.value(at) == scale

    def long_pauses(self, start: int, end: int) -> int:
        """Long pauses inside the tokens ``start`` to ``end`` (exclusive), grammar allowing."""
        return self._long[end] - self._long[start + 1]

    def pauses_before(self, at: int) -> bool:
        """Whether a break is possible before a token inside the line."""
        return 0 < at < len(self.tokens) and self.tokens[at].pause >= SHORT_PAUSE

    def cuts_a_word(self, at: int) -> bool:
        """Whether a typed word goes on over the gap before a token: "twenty-five"."""
        inside = 0 < at < len(self.tokens)
        return inside and self.tokens[at - 1].word == self.tokens[at].word


@dataclass(frozen=True, slots=True)
class Atom:
    """One number over the tokens up to ``end`` (exclusive); ``said``, ``form`` and ``high`` are
    those of ``numbers.Number``. The cheaper, the more usual; ``solid`` ones are not to be split."""

    end: int
    said: str
    form: str
    cost: float = 1.0
    solid: bool = True
    high: str | None = None
