"""Words of a note -> lines of number tokens: each word gets its class from ``data/numbers.toml``,
and those that stand beside each other make a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from talklog.number_words.kinds import LONG_PAUSE, SHORT_PAUSE, Line, Token
from talklog.number_words.lexicon import lexicon
from talklog.number_words.names import bound, counts_on, is_in_a_name
from talklog.number_words.typed_words import typed_tokens
from talklog.transcript import Word

LONGEST_WORD = 40  # letters of a word that is looked at; anything longer is no measurement
ARTICLES, BESIDE = frozenset(("the", "this", "that", "my", "his", "her", "its")), 3  # words


def find_lines(words: Sequence[Word]) -> Iterator[Line]:
    """Stretches of neighbouring number words and the small words that may join them.

    "gap is ten to fifteen thou" -> one line of ten, to, fifteen. An "er" between them counts as a
    pause.
    """
    tokens: list[Token] = []
    hesitated = False
    for new in _tokens(words):
        breaks = new is None or (new and counts_on(words, new[0].word))
        if breaks and tokens:
            yield _line(tokens, words)
            tokens = []
        if new and hesitated:
            new[0] = replace(new[0], pause=max(new[0].pause, LONG_PAUSE))
        hesitated = new == []
        tokens.extend(new or ())
    if tokens:
        yield _line(tokens, words)


def _line(tokens: Sequence[Token], words: Sequence[Word]) -> Line:
    first = tokens[0].word
    return Line(tokens, words[first - 1].text.lower() if first else "")


def _tokens(words: Sequence[Word]) -> Iterator[list[Token] | None]:
    """The tokens of each word, in order; ``None`` for a word that has no part in numbers."""
    index = 0
    while index < len(words):
        joined = _plus_or_minus(words, index)
        if joined:
            yield [Token("plus_minus", 0, "plus or minus", index, _pause(words[index]))]
        else:
            yield _tokens_of(words, index)
        index += joined or 1


def _plus_or_minus(words: Sequence[Word], index: int) -> int:
    """How many words say "plus or minus" here: 3, 2 or 0."""
    texts = [word.text for word in words[index : index + 3]]
    if texts[:2] == ["plus", "minus"]:
        return 2
    return 3 if texts == ["plus", "or", "minus"] else 0


def _tokens_of(words: Sequence[Word], index: int) -> list[Token] | None:
    """The tokens of one word, none for an "er"."""
    text, pause, kinds = bound(words, index), _pause(words[index]), lexicon().kinds
    if len(text) > LONGEST_WORD or (text.isalpha() and text not in kinds):
        return None
    if text in kinds and is_in_a_name(words, index):
        return None
    typed = typed_tokens(text, index, pause)
    if typed:
        return typed
    pieces = [text] if text in kinds else text.split("-")
    if not all(piece in kinds for piece in pieces) or _is_half_of_a_name(words, index):
        return None
    if kinds[pieces[0]][0] == "filler":
        return []
    return [
        Token(*kinds[piece], piece, index, 0.0 if at else pause, _is_soft(words, index))
        for at, piece in enumerate(pieces)
    ]


def _pause(word: Word) -> float:
    """Seconds; a typed comma (0.3) separates as clearly as a long pause does in speech."""
    if word.start is None and word.pause_before >= SHORT_PAUSE:
        return max(word.pause_before, LONG_PAUSE)
    return word.pause_before


# ---- words that are no numbers by what stands around them ----------------------------------------


def _is_half_of_a_name(words: Sequence[Word], index: int) -> bool:
    """ "half round file", "the first half", "quarter light": no numbers; but "right half a mil" and
    "seven and a half round the park" are."""
    if words[index].text.lower() not in ("half", "quarter"):
        return False
    before = [word.text.lower() for word in words[max(0, index - 2) : index]]
    after = _around(words, index)[1]
    return _listed(words, index, "not_part") and before != ["and", "a"] and after not in ("a", "an")


def _is_soft(words: Sequence[Word], index: int) -> bool:
    text = words[index].text.lower()
    if text == "one":
        return _listed(words, index, "pronoun") or _is_beside(words, index)
    return text == "point" and _listed(words, index, "noun_point")


def _is_beside(words: Sequence[Word], index: int) -> bool:
    """ "the rear left one": a place with an article before it."""
    said = [word.text.lower() for word in words[max(0, index - BESIDE) : index]]
    beside = lexicon().lists["pronoun.beside"]
    return bool(said) and said[-1] in beside and not ARTICLES.isdisjoint(said)


def _listed(words: Sequence[Word], index: int, name: str) -> bool:
    """Does the word before or after stand in the list ``name`` of numbers.toml?"""
    before, after = _around(words, index)
    lists = lexicon().lists
    return before in lists[f"{name}.before"] or after in lists.get(f"{name}.after", ())


def _around(words: Sequence[Word], index: int) -> tuple[str, str]:
    before = words[index - 1].text.lower() if index else ""
    after = words[index + 1].text.lower() if index + 1 < len(words) else ""
    return before, after
