"""Step 3a: number words -> every plausible value, by word index. Knows no units, parts or bands.

The words are first put into classes from ``data/numbers.toml``. A run of them is then read by a
small grammar that yields *atoms* (one number each, over some of the words), and a search joins
atoms into complete readings. Each atom has a cost; the cheapest reading is the most usual one.
Numbers next to each other are never added: "ten to fifteen" is a range or two numbers, not 25.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from importlib.resources import files

from talklog.errors import DataFileError
from talklog.transcript import Word

MAX_READINGS = 8
_MAX_DIGITS = 12  # longest digit string read as one number
_MAX_TYPED = 40  # longest typed word looked at; anything longer is no measurement
_LONG_PAUSE = 0.6  # seconds; the speaker has probably begun something new
_SHORT_PAUSE = 0.3  # seconds; a break is possible
_WORST = 2.5  # readings that cost this much more than the best are not plausible


ARTICLES, BESIDE = frozenset(("the", "this", "that", "my", "his", "her", "its")), 3  # words
SCALES = ("hundred", "thousand")  # words that are never parted from the number before


@dataclass(frozen=True, slots=True)
class Number:
    """One number in one way of reading a run of number words.

    ``said`` is the value as a decimal string with the spoken precision ("30.0", "0.08", "0.3125");
    ``Decimal(said) == value`` always. A fraction that does not end is rounded to 6 places.
    ``form`` says how it was spoken:

    ==========  ====================================================================================
    integer     "twelve", "a hundred and ten"
    decimal     "point oh eight", "thirty point oh"
    fraction    "five sixteenths", "half", "a quarter"
    mixed       "three and three quarters", typed "3 1/2"
    grouped     "one ten" for 110, "twelve oh five"
    digits      "one two three four", "double four", "oh four" (``said`` "04")
    typed       "0.25", "12,500", "1/4", "10-15"
    implied     a decimal whose point was not said: "fourteen seven" for 14.7. Always doubtful
    rough       "a couple of"
    ordinal     "third", "2nd": a place in a row, never a measurement
    tolerance   "plus or minus two": a width, not a measurement
    tail        "and a half" after a word that is no number: "a turn and a half" is 1.5 turns, so
                the value here (0.5) must be added to what stands before, or be asked about
    unfinished  "twelve point" with nothing after it: digits were lost, or a "twelve point socket"
    ==========  ====================================================================================

    A range ("eight to ten", "between ten and fifteen") has ``high`` and ``high_said`` as well, and
    the form of its low end.
    """

    first: int
    last: int
    value: Decimal
    said: str
    form: str
    high: Decimal | None = None
    high_said: str | None = None


@dataclass(frozen=True, slots=True)
class NumberRun:
    """A stretch of number words. ``readings`` are complete ways to read it, most usual first:
    "one ten" -> ((110,), (1, 10)). There is always at least one, at most ``MAX_READINGS``."""

    first: int
    last: int
    readings: tuple[tuple[Number, ...], ...]


def find_numbers(words: Sequence[Word]) -> tuple[NumberRun, ...]:
    """All number runs of a note, left to right, not overlapping.

    Order of ``readings``: standard English numbers and spoken decimals come first and are never
    split without a pause ("twenty five" is only 25); then groups ("one ten" 110 before 1, 10);
    digit strings of three and more come before their single digits, two single digits come apart
    first ("three four" 3, 4 before 3.4, and that before 34); a range comes before its two ends as
    numbers of their own; a decimal without its point comes after what the words say plainly. A
    pause over 0.6 s (or a typed comma) inside a number puts the reading split there first, the
    joined one after; a pause straight after "point" does not. A reading may leave words of its run
    out: "seven thirty seconds" is 7/32, or 730 or 7, 30 with "seconds" left over as a unit.
    """
    found = (_read_run(line) for line in _stretches(words))
    return tuple(run for run in found if run is not None)


# ---- words to classes ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    value: int
    text: str
    word: int  # index into the note
    pause: float
    soft: bool = False  # "one" as a pronoun, "point" as a place: may be left out


@dataclass(frozen=True, slots=True)
class _Lexicon:
    kinds: dict[str, tuple[str, int]]
    lists: dict[str, frozenset[str]]


_LISTS = {
    "unit_like": {"words"},
    "not_part": {"before", "after"},
    "pronoun": {"before", "beside", "after"},
    "noun_point": {"before"},
}
_CLASSES = {"oh", "point", "minus", "and", "to", "article", "of", "first", "second", "couple"}
_CLASSES |= {"dozen", "filler"}
_TABLES = {"value", "scale", "part", "repeat", "class", *_LISTS}


@lru_cache(maxsize=1)
def _lexicon() -> _Lexicon:
    return _parse_lexicon((files("talklog") / "data" / "numbers.toml").read_text("utf-8"))


def _parse_lexicon(text: str) -> _Lexicon:
    """The words of numbers.toml. Raises DataFileError when a table or entry is amiss."""
    data = tomllib.loads(text)
    _require(set(data), _TABLES, "tables")
    _require(set(data["class"]), _CLASSES, "entries of [class]")
    kinds: dict[str, tuple[str, int]] = {}
    for table in ("value", "scale", "part", "repeat"):
        for word, value in data[table].items():
            _once(kinds, word, (table, value))
    for kind, members in data["class"].items():
        for word in members:
            _once(kinds, word, (kind, 0))
    kinds |= {word: (_value_kind(value), value) for word, value in data["value"].items()}
    for name, keys in _LISTS.items():
        _require(set(data[name]), keys, f"entries of [{name}]")
    lists = {f"{name}.{key}": frozenset(data[name][key]) for name in _LISTS for key in data[name]}
    return _Lexicon(kinds, lists)


def _once(kinds: dict[str, tuple[str, int]], word: str, meaning: tuple[str, int]) -> None:
    if word in kinds or not isinstance(meaning[1], int):
        raise DataFileError(f"numbers.toml: {word!r} stands there twice, or is no whole number.")
    kinds[word] = meaning


def _require(found: set[str], wanted: set[str], what: str) -> None:
    if found != wanted:
        wrong = ", ".join(sorted(found ^ wanted))
        raise DataFileError(
            f"numbers.toml: {what} must be exactly {', '.join(sorted(wanted))}; check {wrong}."
        )


def _value_kind(value: int) -> str:
    if value == 0:
        return "zero"
    return "unit" if value < 10 else "teen" if value < 20 else "tens"


_GROUPS = "[0-9]{1,3}(?:,[0-9]{3})+"
_TYPED = (  # kind, pattern, in the order they are tried
    ("typed_integer", re.compile(rf"{_GROUPS}|[0-9]+")),
    ("typed_decimal", re.compile(rf"(?:{_GROUPS}|[0-9]*)\.[0-9]+|0,[0-9]+")),
    ("typed_part", re.compile(r"[0-9]+/0*[1-9][0-9]*")),
    ("typed_mixed", re.compile(r"[0-9]+-[0-9]+/0*[1-9][0-9]*")),
    ("typed_range", re.compile(r"(?:[0-9]*\.)?[0-9]+[-–](?:[0-9]*\.)?[0-9]+")),
    ("typed_ordinal", re.compile(r"[0-9]+(?:st|nd|rd|th)")),
)
_SIGN = re.compile(r"\+/-|[-−+±]")
_GLYPHS = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


def _stretches(words: Sequence[Word]) -> Iterator[_Line]:
    """Stretches of neighbouring number words and the small words that may join them. An "er"
    between them counts as a pause."""
    tokens: list[_Token] = []
    hesitated = False
    for new in _lex(words):
        if new is None and tokens:
            yield _line(tokens, words)
            tokens = []
        if new and hesitated:
            new[0] = replace(new[0], pause=max(new[0].pause, _LONG_PAUSE))
        hesitated = new == []
        tokens.extend(new or ())
    if tokens:
        yield _line(tokens, words)


def _line(tokens: Sequence[_Token], words: Sequence[Word]) -> _Line:
    first = tokens[0].word
    return _Line(tokens, words[first - 1].text.lower() if first else "")


def _lex(words: Sequence[Word]) -> Iterator[list[_Token] | None]:
    """The tokens of each word, in order; ``None`` for a word that has no part in numbers."""
    index = 0
    while index < len(words):
        joined = _plus_or_minus(words, index)
        if joined:
            yield [_Token("plus_minus", 0, "plus or minus", index, _pause(words[index]))]
        else:
            yield _tokens_of(words, index)
        index += joined or 1


def _plus_or_minus(words: Sequence[Word], index: int) -> int:
    """How many words say "plus or minus" here: 3, 2 or 0."""
    texts = [word.text for word in words[index : index + 3]]
    if texts[:2] == ["plus", "minus"]:
        return 2
    return 3 if texts == ["plus", "or", "minus"] else 0


def _tokens_of(words: Sequence[Word], index: int) -> list[_Token] | None:
    text, pause = words[index].text.lower(), _pause(words[index])
    if len(text) > _MAX_TYPED or (text.isalpha() and text not in _lexicon().kinds):
        return None
    typed = _typed_tokens(text, index, pause)
    if typed:
        return typed
    kinds = _lexicon().kinds
    pieces = [text] if text in kinds else text.split("-")
    if not all(piece in kinds for piece in pieces) or _is_half_of_a_name(words, index):
        return None
    if kinds[text if text in kinds else pieces[0]][0] == "filler":
        return []
    return [
        _Token(*kinds[piece], piece, index, 0.0 if at else pause, _is_soft(words, index))
        for at, piece in enumerate(pieces)
    ]


def _typed_tokens(text: str, index: int, pause: float) -> list[_Token]:
    for glyph, written in _GLYPHS.items():
        text = text.replace(glyph, f"-{written}" if text[:1].isdigit() else written)
    sign = _SIGN.match(text)
    rest = text[sign.end() :] if sign else text
    kind = next((kind for kind, pattern in _TYPED if pattern.fullmatch(rest)), None)
    if kind is None or (kind == "typed_range" and not _rises(rest)):
        return []
    number = _Token(kind, 0, rest.replace("0,", "0.") if rest.startswith("0,") else rest, index, 0)
    signs = {"-": "minus", "−": "minus", "±": "plus_minus", "+/-": "plus_minus"}
    if sign and sign[0] in signs:
        return [_Token(signs[sign[0]], 0, sign[0], index, pause), number]
    return [replace(number, pause=pause)]


def _rises(text: str) -> bool:
    low, high = map(Decimal, _range_ends(text))
    return low < high


def _pause(word: Word) -> float:
    """Seconds; a typed comma (0.3) separates as clearly as a long pause does in speech."""
    if word.start is None and word.pause_before >= _SHORT_PAUSE:
        return max(word.pause_before, _LONG_PAUSE)
    return word.pause_before


def _around(words: Sequence[Word], index: int) -> tuple[str, str]:
    before = words[index - 1].text.lower() if index else ""
    after = words[index + 1].text.lower() if index + 1 < len(words) else ""
    return before, after


def _listed(words: Sequence[Word], index: int, name: str) -> bool:
    """Does the word before or after stand in the list ``name`` of numbers.toml?"""
    before, after = _around(words, index)
    lists = _lexicon().lists
    return before in lists[f"{name}.before"] or after in lists.get(f"{name}.after", ())


def _is_half_of_a_name(words: Sequence[Word], index: int) -> bool:
    """ "half round file", "the first half", "quarter light": no numbers; but "right half a mil" and
    "seven and a half round the park" are."""
    if words[index].text.lower() not in ("half", "quarter"):
        return False
    before = [word.text.lower() for word in words[max(0, index - 2) : index]]
    after = _around(words, index)[1]
    return _listed(words, index, "not_part") and before != ["and", "a"] and after not in ("a", "an")


def _is_beside(words: Sequence[Word], index: int) -> bool:
    """ "the rear left one": a place with an article before it."""
    said = [word.text.lower() for word in words[max(0, index - BESIDE) : index]]
    beside = _lexicon().lists["pronoun.beside"]
    return bool(said) and said[-1] in beside and not ARTICLES.isdisjoint(said)


def _is_soft(words: Sequence[Word], index: int) -> bool:
    text = words[index].text.lower()
    if text == "one":
        return _listed(words, index, "pronoun") or _is_beside(words, index)
    return text == "point" and _listed(words, index, "noun_point")


# ---- the grammar: atoms, one number each ---------------------------------------------------------


class _Line:
    """Neighbouring tokens of a note. Asking beyond either end gives an empty kind."""

    def __init__(self, tokens: Sequence[_Token], before: str) -> None:
        self.tokens, self.before = tokens, before  # the word before them
        self._long = [0]
        for at, token in enumerate(tokens):
            counts = token.pause >= _LONG_PAUSE and self.kind(at - 1) not in ("point", "scale")
            self._long.append(self._long[-1] + counts)

    def kind(self, at: int) -> str:
        return self.tokens[at].kind if 0 <= at < len(self.tokens) else ""

    def value(self, at: int) -> int:
        return self.tokens[at].value

    def long_pauses(self, start: int, end: int) -> int:
        """Long pauses inside the tokens ``start`` to ``end`` (exclusive), grammar allowing."""
        return self._long[end] - self._long[start + 1]

    def breaks(self, end: int) -> bool:
        """Whether a typed word goes on over the end: "twenty-five"."""
        inside = 0 < end < len(self.tokens)
        return inside and self.tokens[end - 1].word == self.tokens[end].word


@dataclass(frozen=True, slots=True)
class _Atom:
    """One number over tokens up to ``end`` (exclusive). ``solid`` ones are not to be split."""

    end: int
    said: str
    form: str
    cost: float = 1.0
    solid: bool = True
    high: str | None = None


_Ints = Iterator[tuple[int, int]]  # (end, value)


def _small(line: _Line, at: int) -> _Ints:
    """1 to 99: "eight", "twelve", "twenty", "twenty five"."""
    kind = line.kind(at)
    if kind in ("unit", "teen", "tens"):
        yield at + 1, line.value(at)
    if kind == "tens" and line.kind(at + 1) == "unit":
        yield at + 2, line.value(at) + line.value(at + 1)


def _typed_int(line: _Line, at: int) -> _Ints:
    if line.kind(at) == "typed_integer":
        yield at + 1, int(line.tokens[at].text.replace(",", ""))


def _is_scale(line: _Line, at: int, scale: int) -> bool:
    return line.kind(at) == "scale" and line.value(at) == scale


def _hundreds(line: _Line, at: int) -> _Ints:
    """1 to 9999 with no "thousand": "a hundred and ten", "eleven hundred"."""
    heads = [*_small(line, at), *_typed_int(line, at)]
    yield from heads
    yield from _scaled(line, at, heads, 100, _small)


def _scaled(
    line: _Line, at: int, heads: Iterable[tuple[int, int]], scale: int, tail: Callable[..., _Ints]
) -> _Ints:
    """head + "hundred" (or "a", or nothing, + "hundred") + ["and"] + tail below the scale."""
    article = at + 1 if line.kind(at) == "article" else at
    for end, head in [*heads, (article, 1)]:
        if _is_scale(line, end, scale):
            yield end + 1, head * scale
            after = end + 2 if line.kind(end + 1) == "and" else end + 1
            yield from ((stop, head * scale + n) for stop, n in tail(line, after) if n < scale)


def _thousands(line: _Line, at: int) -> _Ints:
    heads = list(_hundreds(line, at))
    yield from heads
    yield from _scaled(line, at, heads, 1000, _hundreds)


def _cardinals(line: _Line, at: int) -> _Ints:
    """Every end at which a standard English whole number that begins here may stop."""
    heads = list(_thousands(line, at))
    yield from heads
    yield from _scaled(line, at, heads, 1_000_000, _thousands)


def _digit(line: _Line, at: int) -> tuple[int, str] | None:
    """One spoken digit, or a repeated one: "oh", "four", "double four"."""
    if line.kind(at) == "repeat":
        single = line.kind(at + 1) in ("zero", "oh", "unit")
        return (at + 2, str(line.value(at + 1)) * line.value(at)) if single else None
    if line.kind(at) in ("zero", "oh", "unit"):
        return at + 1, str(line.value(at))
    return None


def _digit_strings(line: _Line, at: int) -> Iterator[tuple[int, str]]:
    """Every string of spoken digits that begins here, shortest first."""
    text = ""
    while len(text) < _MAX_DIGITS and (found := _digit(line, at)):
        at, digits = found[0], text + found[1]
        text = digits
        yield at, digits


def _whole_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    bare = line.kind(at) == "scale"
    for end, value in _cardinals(line, at):
        form = "typed" if line.kind(at) == "typed_integer" and end == at + 1 else "integer"
        yield _Atom(end, str(value), form, cost=1.8 if bare else 1.0)
    if line.kind(at) == "zero":
        yield _Atom(at + 1, "0", "integer")


def _grouped_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "one ten" 110, "twelve fifty" 1250, "twelve oh five" 1205, "two thousand eight twenty"
    2820."""
    for end, head in _small(line, at):
        for stop, tail in _small(line, end):
            if tail >= 10:
                cost = 1.3 if head < 10 else 1.5 if end == at + 1 else 1.7
                yield _Atom(stop, str(head * 100 + tail), "grouped", cost, solid=False)
        if head < 10 and line.kind(end) == "unit":  # "two nine fifty", more often 2 and 950
            for stop, tail in _small(line, end + 1):
                if tail >= 10:
                    said = str((head * 10 + line.value(end)) * 100 + tail)
                    yield _Atom(stop, said, "grouped", cost=3.0, solid=False)
        if _is_scale(line, end, 1000) and line.kind(end + 1) == "unit":
            hundreds = head * 10 + line.value(end + 1)
            for stop, tail in _small(line, end + 2):
                if tail >= 10:
                    said = str(hundreds * 100 + tail)
                    yield _Atom(stop, said, "grouped", cost=1.3, solid=False)
        if head >= 10 and line.kind(end) == "oh" and line.kind(end + 1) == "unit":
            value = head * 100 + line.value(end + 1)
            yield _Atom(end + 2, str(value), "grouped", cost=1.2, solid=False)


def _digits_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "one two three four", "one oh five", "double four", "oh four".

    A string may end where the digits end, one before (that digit may begin the next number), at a
    pause, or after "one oh five"; it may begin likewise. That keeps the readings few.
    """
    if not _may_begin_digits(line, at):
        return
    found = list(_digit_strings(line, at))
    for count, (end, text) in enumerate(found):
        oh_inside = len(text) == 3 and line.kind(at + 1) in ("oh", "zero")
        last = count >= len(found) - 2 or _breaks(line, end) or oh_inside
        ohs_only = all(line.kind(place) == "oh" for place in range(at, end))
        if last and len(text) > 1 and not ohs_only:
            yield _Atom(end, text, "digits", _digits_cost(line, at, end, text), solid=False)


def _may_begin_digits(line: _Line, at: int) -> bool:
    if _digit(line, at) is None:
        return False
    inside = [_digit(line, at - back) is not None and back <= at for back in (1, 2)]
    triple_before = line.kind(at - 2) in ("oh", "zero")
    return not all(inside) or _breaks(line, at) or triple_before


def _digits_cost(line: _Line, at: int, end: int, text: str) -> float:
    kinds = {line.kind(place) for place in range(at, end)}
    pair = end == at + 2 and line.kind(at) == "unit"  # "six oh" is six point nought
    if "repeat" in kinds or (len(text) <= 3 and "oh" in kinds and not pair):
        return 1.2
    return 1.4 + 0.4 * len(text)


def _breaks(line: _Line, at: int) -> bool:
    return 0 < at < len(line.tokens) and line.tokens[at].pause >= _SHORT_PAUSE


def _after_point(line: _Line, at: int) -> Iterator[tuple[int, str, bool]]:
    """(end, digits, plain) after "point": "oh eight", "twenty five", "oh twelve", "one twenty"."""
    for end, tail in _small(line, at):
        if tail >= 10:
            yield end, str(tail), True
    for end, digits in _digit_strings(line, at):
        yield end, digits, True
        zeros = not digits.strip("0")
        if zeros or len(digits) == 1:
            twos = ((stop, n) for stop, n in _small(line, end) if n >= 10)
            yield from ((stop, f"{digits}{n}", zeros) for stop, n in twos)
    if line.kind(at) == "typed_integer":
        yield at + 1, line.tokens[at].text.replace(",", ""), True


def _decimal_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "nought point two five", "point oh eight", "thirty point oh", "one oh two point five"."""
    for whole in _whole_parts(line, at):
        if line.kind(whole.end) != "point":
            continue
        tails = list(_after_point(line, whole.end + 1))
        for end, digits, plain in tails:
            cost = whole.cost + (0.0 if plain else 0.6 if whole.said == "0" else 1.2)
            yield _Atom(end, f"{whole.said}.{digits}", "decimal", cost, whole.solid and plain)
        if not tails and whole.end > at:
            yield _Atom(whole.end + 1, whole.said, "unfinished", whole.cost, whole.solid)


def _whole_parts(line: _Line, at: int) -> Iterator[_Atom]:
    """What may stand before "point", nothing included."""
    if line.kind(at) == "point":
        yield _Atom(at, "0", "decimal", cost=1.5 if line.tokens[at].soft else 1.0)
    if line.kind(at) == "oh":
        yield _Atom(at + 1, "0", "integer")
    yield from _whole_atoms(line, at)
    yield from _grouped_atoms(line, at)
    yield from _digits_atoms(line, at)


def _implied_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """Decimals whose point was not said: "fourteen seven", "nought two five"."""
    if line.kind(at) in ("zero", "oh") and _digit(line, at - 1) is None:
        for end, digits in _digit_strings(line, at + 1):
            if len(digits) == 1 and digits != "0":  # "oh six", mostly a digit string
                yield _Atom(end, f"0.0{digits}", "implied", cost=3.2, solid=False)
            elif len(digits) > 1:
                yield _Atom(end, f"0.{digits}", "implied", cost=2.4, solid=False)
                yield _Atom(end, f"0.0{digits}", "implied", cost=2.5, solid=False)
    for end, head in _small(line, at):
        joined = end == at + 1 and (line.kind(at), line.kind(end)) == ("tens", "unit")
        if line.kind(end) == "repeat" or joined:
            continue
        singles = [pair for pair in _digit_strings(line, end) if len(pair[1]) <= 2]
        twos = [(stop, str(n)) for stop, n in _small(line, end) if n >= 10]
        for stop, digits in [*singles, *twos] if head >= 10 else singles:
            cost = 2.2 if head >= 10 else 2.15 if len(digits) == 1 else 2.7
            yield _Atom(stop, f"{head}.{digits}", "implied", cost, solid=False)


def _denominators(line: _Line, at: int) -> Iterator[tuple[int, int, bool]]:
    """(end, denominator, plural) of "eighths", "thirty seconds", "sixty fourths"."""
    if line.kind(at) == "part":
        yield at + 1, line.value(at), line.tokens[at].text.endswith("s")
    if line.kind(at) == "tens" and line.kind(at + 1) in ("second", "part"):
        unit = line.value(at + 1) or 2
        if unit < 10 and line.tokens[at + 1].text not in ("half", "halves", "quarter", "quarters"):
            yield at + 2, line.value(at) + unit, line.tokens[at + 1].text.endswith("s")
    if line.kind(at) == "teen" and line.value(at) == 10 and _is_thousandth(line, at + 1):
        yield at + 2, 10_000, line.tokens[at + 1].text.endswith("s")


def _is_thousandth(line: _Line, at: int) -> bool:
    return line.kind(at) == "part" and line.value(at) == 1000


_Parts = Iterator[tuple[int, int, int, bool]]  # (end, numerator, denominator, solid)


def _parts(line: _Line, at: int) -> _Parts:
    """ "half", "a quarter", "five sixteenths", "an eighth", typed "5/16"."""
    if line.kind(at) == "typed_part":
        top, bottom = line.tokens[at].text.split("/")
        yield at + 1, int(top), int(bottom), True
    if line.kind(at) == "part" and line.tokens[at].text in ("half", "quarter"):
        yield at + 1, 1, line.value(at), True
    heads = [(at + 1, 1)] if line.kind(at) == "article" else list(_hundreds(line, at))
    for middle, top in heads:
        for end, bottom, plural in _denominators(line, middle):
            if top == 1 and plural:
                continue
            unit_like = line.tokens[end - 1].text in _lexicon().lists["unit_like.words"]
            yield end, top, bottom, top < bottom and not unit_like


def _part_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    tail = at == 1 and line.kind(0) == "and"
    for end, top, bottom, solid in _parts(line, at):
        form = "tail" if tail else "typed" if line.kind(at) == "typed_part" else "fraction"
        dear = line.kind(at) == "article" and line.kind(end - 1) == "second"
        cost = 1.5 if dear else 1.2 if top > bottom else 1.0
        yield _Atom(end, _ratio(top, bottom), form, cost, solid)
    yield from _of_a_part(line, at)


def _of_a_part(line: _Line, at: int) -> Iterator[_Atom]:
    """ "sixteenth of an inch", "eighth inch": one part, with its "a" swallowed."""
    if line.kind(at - 1) in _NUMBER_KINDS:
        return
    for end, bottom, plural in _denominators(line, at):
        if not plural and line.tokens[at].text not in ("half", "quarter") and bottom > 3:
            cost = 0.9 if line.kind(end) == "of" else 1.1
            yield _Atom(end, _ratio(1, bottom), "fraction", cost, solid=False)


def _ratio(top: int, bottom: int) -> str:
    """The exact decimal of a fraction where there is one of at most 9 places, else 6 places."""
    value = Decimal(top) / Decimal(bottom)
    exact = value.quantize(Decimal("1e-9"))
    if exact * bottom == top:
        return f"{exact.normalize():f}"
    return f"{value:.6f}"


def _mixed_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "five and a quarter", "three and three quarters", "two three eighths", typed "3 1/2"."""
    for whole in [*_whole_atoms(line, at), *_grouped_atoms(line, at)]:
        if whole.said == "0":
            continue
        joined = line.kind(whole.end) == "and"
        if not joined and line.kind(whole.end) in ("part", "article"):
            continue
        for end, top, bottom, _ in _parts(line, whole.end + joined):
            if top < bottom:
                typed = line.kind(whole.end) == "typed_part"
                cost = whole.cost + (0.0 if joined or typed else 0.7)
                said = _sum(whole.said, _ratio(top, bottom))
                yield _Atom(end, said, "mixed", cost, whole.solid and joined)


def _sum(one: str, other: str) -> str:
    return f"{one}{other[1:]}"  # other is below 1: "0.75"


def _multiplied(line: _Line, atoms: Iterable[_Atom]) -> Iterator[_Atom]:
    """Each atom, and "two and a half thousand", "one point five thousand"."""
    for atom in atoms:
        yield atom
        if atom.form in ("mixed", "decimal") and line.kind(atom.end) == "scale":
            value = Decimal(atom.said) * line.value(atom.end)
            yield replace(atom, end=atom.end + 1, said=f"{value.normalize():f}")


def _loose_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "a couple of", "a couple of hundred", "two dozen", "half a dozen"."""
    start = at + 1 if line.kind(at) == "article" else at
    if line.kind(start) == "couple":
        end = start + 2 if line.kind(start + 1) == "of" else start + 1
        yield _Atom(end, "2", "rough")
        if line.kind(end) == "scale":
            yield _Atom(end + 1, str(2 * line.value(end)), "rough")
    halves = line.kind(at) == "part" and line.value(at) == 2 and line.kind(at + 1) == "article"
    heads = [*_small(line, at), *_typed_int(line, at), (start, 1)]
    for end, count in heads:
        if line.kind(end) == "dozen":
            yield _Atom(end + 1, str(12 * count), "integer")
    if halves and line.kind(at + 2) == "dozen":
        yield _Atom(at + 3, "6", "integer")


def _typed_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    text = line.tokens[at].text
    if line.kind(at) == "typed_decimal":
        said = text.replace(",", "")
        yield _Atom(at + 1, f"0{said}" if said.startswith(".") else said, "typed")
    if line.kind(at) == "typed_mixed":
        whole, top, bottom = map(int, re.split("[-/]", text))
        yield _Atom(at + 1, _ratio(whole * bottom + top, bottom), "typed")
    if line.kind(at) == "typed_range":
        low, high = _range_ends(text)
        yield _Atom(at + 1, low, "typed", high=high)


def _range_ends(text: str) -> list[str]:
    return [f"0{end}" if end.startswith(".") else end for end in re.split("[-–]", text)]


def _ordinal_atoms(line: _Line, at: int) -> Iterator[_Atom]:
    """ "first", "third", "twenty second", "2nd": a place in a row."""
    token = line.tokens[at]
    if token.kind == "typed_ordinal":
        yield _Atom(at + 1, token.text[:-2], "ordinal")
    elif (value := _ordinal(token)) and line.kind(at - 1) not in _NUMBER_KINDS:
        yield _Atom(at + 1, str(value), "ordinal")
    if token.kind == "tens" and line.kind(at + 1) in ("first", "part"):
        last = _ordinal(line.tokens[at + 1])
        if last and last < 10:
            yield _Atom(at + 2, str(token.value + last), "ordinal", cost=1.05)


def _ordinal(token: _Token) -> int | None:
    if token.text in ("first", "second"):
        return 1 if token.text == "first" else 2
    plain = token.kind == "part" and token.text not in ("half", "quarter")
    return token.value if plain and not token.text.endswith("s") else None


_NUMBER_KINDS = ("unit", "teen", "tens", "zero", "scale", "article", "typed_integer", "part")
_UNSIGNED = (
    _whole_atoms,
    _grouped_atoms,
    _digits_atoms,
    _decimal_atoms,
    _implied_atoms,
    _part_atoms,
    _mixed_atoms,
    _loose_atoms,
    _typed_atoms,
)


def _atoms(line: _Line, at: int) -> list[_Atom]:
    """Every number that may begin at this token, one (the cheapest) for each value and end."""
    kind = line.kind(at)
    signed = kind in ("minus", "plus_minus")
    start = at + 1 if signed else at
    if start == len(line.tokens):
        return []
    found = [atom for part in _UNSIGNED for atom in _multiplied(line, part(line, start))]
    if signed:
        found = [_with_sign(atom, kind) for atom in found if atom.high is None]
    else:
        found += _ordinal_atoms(line, at)
    priced = [
        replace(a, cost=a.cost + 1.5 * line.long_pauses(at, a.end) + _BROKEN * line.breaks(a.end))
        for a in found
    ]
    best: dict[tuple[int, str, str], _Atom] = {}
    for atom in sorted(priced, key=lambda atom: atom.cost):
        best.setdefault((atom.end, atom.said, "ordinal" if atom.form == "ordinal" else ""), atom)
    return list(best.values())


def _with_sign(atom: _Atom, kind: str) -> _Atom:
    if kind == "plus_minus":
        return replace(atom, form="tolerance")
    return replace(atom, said=f"-{atom.said}")


# ---- the search: atoms to complete readings ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Path:
    """A reading of the tokens up to some point; ``earlier`` leads back to its start."""

    cost: float
    start: int = 0  # of the last atom
    atom: _Atom | None = None
    earlier: _Path | None = None


_BEAM = 12
_BROKEN = 4.0  # for a number that ends within a typed word: the "twenty" of "twenty-five"
_NEVER = 6.0  # so dear that it happens only where nothing else is left
_SKIP = {  # what it costs to leave a token out of every number; not listed: not possible
    "and": 0.1, "to": 0.1, "article": 0.1, "of": 0.1, "second": 0.2, "first": 1.2, "part": 3.0,
    "oh": 0.4, "repeat": 0.3, "couple": 1.2, "dozen": 1.2, "point": 0.6, "minus": 0.1,
    "plus_minus": 0.1,
}  # fmt: skip
_JOINERS = ("and", "to", "article", "of")


def _read_run(line: _Line) -> NumberRun | None:
    """The readings of a line. The same words are said again and again: they are read once."""
    first = line.tokens[0].word
    alike = tuple(replace(t, word=t.word - first, pause=_bucket(t.pause)) for t in line.tokens)
    run = _read_at_zero(alike, line.before)
    return run and _moved(run, first)


def _bucket(pause: float) -> float:
    """A pause of the same effect: none, short, just long, longer."""
    if pause > _LONG_PAUSE:
        return 2 * _LONG_PAUSE
    return max((limit for limit in (_SHORT_PAUSE, _LONG_PAUSE) if pause >= limit), default=0.0)


def _moved(run: NumberRun, by: int) -> NumberRun:
    readings = tuple(
        tuple(replace(n, first=n.first + by, last=n.last + by) for n in reading)
        for reading in run.readings
    )
    return NumberRun(run.first + by, run.last + by, readings)


@lru_cache(maxsize=20_000)
def _read_at_zero(tokens: tuple[_Token, ...], before: str) -> NumberRun | None:
    line = _Line(tokens, before)
    paths = _search(line)
    if paths[0].atom is None:
        return None
    kept = [path for path in paths if path.atom and path.cost <= paths[0].cost + _WORST]
    readings = _distinct(_reading(line, path) for path in kept)[:MAX_READINGS]
    return NumberRun(
        first=min(reading[0].first for reading in readings),
        last=max(reading[-1].last for reading in readings),
        readings=tuple(readings),
    )


def _distinct(readings: Iterable[tuple[Number, ...]]) -> list[tuple[Number, ...]]:
    """Without those that say the same numbers over fewer words."""
    found: dict[tuple[tuple[str, str | None], ...], tuple[Number, ...]] = {}
    for reading in readings:
        found.setdefault(tuple((number.said, number.high_said) for number in reading), reading)
    return list(found.values())


def _search(line: _Line) -> list[_Path]:
    """Beam search, left to right; the work grows with the length of the line, not faster."""
    atoms = [_atoms(line, at) for at in range(len(line.tokens))]
    across = _straddling(atoms)
    paths: list[list[_Path]] = [[] for _ in range(len(atoms) + 1)]
    paths[0] = [_Path(0.0)]
    for at, starting in enumerate(atoms):
        paths[at] = sorted(paths[at], key=lambda path: path.cost)[:_BEAM]
        paths[at + 1] += _skipping(line, paths[at], at, across[at], bool(starting))
        for atom in starting:
            paths[atom.end] += _extended(line, paths[at], at, atom, across[at])
    return sorted(paths[-1], key=lambda path: path.cost)


_Spans = list[tuple[int, int]]


def _straddling(atoms: list[list[_Atom]]) -> list[_Spans]:
    """For each token, the solid numbers that run across the gap before it."""
    across: list[_Spans] = [[] for _ in atoms]
    for at, starting in enumerate(atoms):
        for end in {atom.end for atom in starting if atom.solid}:
            for inside in range(at + 1, end):
                across[inside].append((at, end))
    return across


def _skipping(
    line: _Line, paths: list[_Path], at: int, solids: _Spans, begins: bool
) -> Iterator[_Path]:
    """The paths that leave a token out; ``begins`` when a number could begin there."""
    price = _skip_cost(line, at, begins=begins)
    if price is None:
        return
    for path in paths:
        inside = line.kind(at) not in _JOINERS and any(start >= path.start for start, _ in solids)
        yield replace(path, cost=path.cost + price + (_NEVER if inside else 0.0))


def _skip_cost(line: _Line, at: int, *, begins: bool) -> float | None:
    token, after_number = line.tokens[at], line.kind(at - 1) in _NUMBER_KINDS
    if token.soft:
        return 0.2
    if token.kind in ("minus", "plus_minus", "repeat", "point") and begins:
        return _NEVER
    if token.text in _lexicon().lists["unit_like.words"]:
        return 0.2 if after_number else 1.2
    if token.kind == "oh" and after_number:
        return 1.4
    return _SKIP.get(token.kind)


def _extended(
    line: _Line, paths: list[_Path], at: int, atom: _Atom, solids: _Spans
) -> Iterator[_Path]:
    """The paths with one more number, or with their last number made into a range."""
    for path in paths:
        cost = path.cost + atom.cost
        if path.atom is None:
            yield _Path(cost, at, atom, path)
            continue
        split = _NEVER if _splits_a_number(line, path, at, atom, solids) else 0.0
        yield _Path(cost + split + _neighbour_cost(line, path, at, atom), at, atom, path)
        joined = _range_of(line, path, at, atom)
        if joined is not None:
            yield _Path(cost - 0.5, path.start, joined, path.earlier)


def _splits_a_number(line: _Line, path: _Path, at: int, atom: _Atom, solids: _Spans) -> bool:
    """Would this cut a plain number in two ("twenty" | "five") with no pause to excuse it?"""
    if line.tokens[at - 1].word == line.tokens[at].word:
        return True
    inside = any(start >= path.start and end >= atom.end for start, end in solids)
    end = path.atom.end if path.atom else at
    pause = max(token.pause for token in line.tokens[end : at + 1])
    if line.kind(end - 1) == "scale":  # "two thousand, five hundred": a comma is no break
        return inside and pause <= _LONG_PAUSE
    return inside and pause < _SHORT_PAUSE


def _neighbour_cost(line: _Line, path: _Path, at: int, atom: _Atom) -> float:
    """Dear: a decimal with no whole part straight after a number, a digit string or an unsaid
    point beside another number, neighbours of unlike length."""
    assert path.atom is not None
    if path.atom.end < at or _breaks(line, at):
        return 0.0
    if line.kind(at) == "point":
        return 1.5
    left, right = path.atom.said, atom.said
    if _is_loose(line, path.start, path.atom) or _is_loose(line, at, atom):
        return 1.0
    plain = "." not in left + right and len(left) > 1 and len(right) > 1
    return 0.5 if plain and len(left) != len(right) else 0.0


def _is_loose(line: _Line, start: int, atom: _Atom) -> bool:
    """Digit strings and unsaid points seldom stand right beside another number; "one oh five"
    does."""
    oh_inside = len(atom.said) == 3 and line.kind(start + 1) in ("oh", "zero")
    return atom.form == "implied" or (atom.form == "digits" and not oh_inside)


def _range_of(line: _Line, path: _Path, at: int, atom: _Atom) -> _Atom | None:
    """ "eight to ten", "between ten and fifteen": only ever upwards."""
    low = path.atom
    assert low is not None
    if low.end != at - 1 or low.high or atom.high or "ordinal" in (low.form, atom.form):
        return None
    between = (line.before if path.start == 0 else "") == "between"
    if line.kind(at - 1) != "to" and not (line.kind(at - 1) == "and" and between):
        return None
    if Decimal(low.said) >= Decimal(atom.said):
        return None
    return replace(low, end=atom.end, high=atom.said)


def _reading(line: _Line, path: _Path) -> tuple[Number, ...]:
    numbers: list[Number] = []
    step: _Path | None = path
    while step is not None and step.atom is not None:
        numbers.append(_number(line, step.start, step.atom))
        step = step.earlier
    return tuple(reversed(numbers))


def _number(line: _Line, start: int, atom: _Atom) -> Number:
    return Number(
        first=line.tokens[start].word,
        last=line.tokens[atom.end - 1].word,
        value=Decimal(atom.said),
        said=atom.said,
        form=atom.form,
        high=Decimal(atom.high) if atom.high else None,
        high_said=atom.high,
    )
