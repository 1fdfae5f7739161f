"""Step 2b: typed or dictated text -> Transcript. Knows letters and punctuation, no units or parts.

Typed text goes through the same steps as speech, so it is cut into the words a recogniser would
have given: "12thou" -> 12 thou, "110Nm" -> 110 nm, "front-left" -> front left, "10-12mm" -> 10 to
12 mm. Punctuation becomes the pause before the next word. What cannot be cut safely stays whole
("m8", "10w-40", "205/55r16", "2026-11-25"): a size or a code is better not read than read wrongly.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

from talklog.errors import TextError
from talklog.transcript import Source, Transcript, Word

# The text of a word and how it was written; an empty text marks a gap between words.
Piece = tuple[str, str]

LONGEST_FORM = 60  # characters; no number, size or code is longer, and matching stays quick
LIMIT_BYTES = 2_000_000  # about 350,000 words: far beyond a note, small enough to stay quick

# Seconds, as documented in transcript.Word.
_PAUSE = dict.fromkeys("\n\r\v\f\x85\u2028\u2029", 1.2)
_PAUSE |= dict.fromkeys(".;?!…", 0.8)
_PAUSE |= dict.fromkeys(":,()[]{}–—-→", 0.3)

# Other signs for the same thing, and signs that are said as words.
_SAME = (
    *(("'", "’‘"), ('"', "“”″"), ("/", "⁄"), ("-", "−‐‑"), (".", "·⋅"), ("x", "×")),
    *(("u", "\u00b5\u03bc"), ("ohm", "\u03a9\u2126"), ("2", "²"), ("3", "³")),
    *(("°C", "℃"), ("°F", "℉"), (" plus or minus ", "±"), (" and ", "&"), (" at ", "@")),
    (" about ", "~≈"),
)
_SIGNS = str.maketrans({sign: plain for plain, signs in _SAME for sign in signs})
_COMPARED = re.compile(r"(?<!\S)(<=|>=|[<>≤≥])(?=\s*\.?\d)")
_COMPARISONS = {"<": "less than", ">": "more than", "<=": "at most", ">=": "at least"}
_COMPARISONS |= {"≤": "at most", "≥": "at least"}
_SPELT_OUT = {"cyl": "cylinder", "cyls": "cylinders"}  # what is written so and said whole
_ARROW = re.compile(r"[-=]{1,3}>")
_VULGAR = re.compile("[¼½¾⅐-⅞]")
_QUOTED = re.compile(r'(?<!\S)"([^"\n]*)"')

# Fractions as rulers and drills have them: in lowest terms, or in 32nds and 64ths. Anything else
# with a stroke ("12/14 thou", "8/10 bar") is two values (common practice, no source).
_FRACTION = r"(?:\d*[13579]/(?:2|4|8|16)|\d+/(?:32|64)|[12]/3|[1-4]/5|[15]/6|[1379]/10)(?![\d.])"
_NUMBER = rf"(?:{_FRACTION}|\d{{1,3}}(?:,\d{{3}})+(?:\.\d+)?|0,\d+|\d+(?:\.\d+)?|\.\d+)"
_LETTERS = r"[^\W\d_]"
_POWER = "(?:(?<=[cm])[23]|(?<=in)[23])?"  # cm2, m3, in3
_UNIT = rf'(?:{_LETTERS}{{2}}H2O|°?{_LETTERS}+{_POWER}(?:[./]{_LETTERS}{{1,3}}{_POWER})*|[°%"])'
_LOOSE_RANGE = re.compile(rf"(?<![\w.])({_NUMBER})[^\S\n]+[-–][^\S\n]+({_NUMBER})")
_FIRST = re.compile(r"-?\.?\d|[^\W_]|[°%]")
# Always between words; and between words unless digits stand on both sides.
_SEPARATOR = re.compile(r"[^\w°%\"'.,/:–-]+|(?<!\d)[.,/:–-]+|[.,/:–-]+(?!\d)")


def read_text(data: bytes, *, name: str = "-") -> Transcript:
    """Typed text as a Transcript without times; ``sha256`` is that of the bytes as given.

    "Inlet gap 0.25mm, rear tyre 32psi." -> inlet gap 0.25 mm (pause) rear tyre 32 psi.
    Raises TextError for text that is empty, too long, not UTF-8 or not text at all.
    """
    words = _words(_tidy(_decode(data, name)))
    if not words:
        raise TextError(f"{name}: no words in it; write what was done and measured, then try again")
    source = Source(kind="text", name=name, sha256=hashlib.sha256(data).hexdigest())
    return Transcript(source=source, words=words)


def read_stream(stream: BinaryIO, *, name: str = "-") -> Transcript:
    """``read_text`` of a stream, of which never more than the limit is taken into memory."""
    return read_text(stream.read(LIMIT_BYTES + 1), name=name)


def read_file(path: Path) -> Transcript:
    """``read_text`` of a file. Raises TextError too when it cannot be opened."""
    try:
        stream = path.open("rb")
    except OSError as error:
        raise TextError(f"{path}: cannot be read ({error.strerror or error})") from error
    with stream:
        return read_stream(stream, name=path.name)


def split_words(text: str) -> tuple[str, ...]:
    """The word texts of a phrase, cut as in a note: "ft-lb" -> ("ft", "lb")."""
    return tuple(word.text for word in _words(_tidy(text)))


def _decode(data: bytes, name: str) -> str:
    if len(data) > LIMIT_BYTES:
        raise TextError(f"{name}: longer than {LIMIT_BYTES:,} bytes; split it into single notes")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in data[:4]:
        raise TextError(f"{name}: not UTF-8 text; save it as UTF-8 (plain text) and try again")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TextError(
            f"{name}: not UTF-8 text (byte {error.start + 1}); save it as UTF-8 and try again"
        ) from error
    _refuse_control_characters(text, name)
    return text


def _refuse_control_characters(text: str, name: str) -> None:
    for at, char in enumerate(text):
        if unicodedata.category(char) == "Cc" and char not in "\t\n\r\v\f\x85":
            line = text.count("\n", 0, at) + 1
            raise TextError(
                f"{name}: control character U+{ord(char):04X} in line {line}; this looks like a "
                "program's file, not a note. Save the note as plain text and try again"
            )


def _tidy(text: str) -> str:
    """The same text with one sign for each meaning. Invisible marks (soft hyphens) go."""
    text = "".join(char for char in text if unicodedata.category(char) != "Cf")
    text = _VULGAR.sub(lambda found: " " + unicodedata.normalize("NFKC", found[0]), text)
    text = _ARROW.sub(" → ", text.replace("+/-", "±")).translate(_SIGNS)
    text = _COMPARED.sub(lambda found: f" {_COMPARISONS[found[1]]} ", text)
    return _LOOSE_RANGE.sub(_close_range, _QUOTED.sub(r" \1 ", text))


def _close_range(found: re.Match[str]) -> str:
    """ "10 - 12 mm" is a range like "10-12 mm"; "12 - 10" is two values with a dash between."""
    return f"{found[1]}-{found[2]}" if _rising(found[1], found[2]) else found[0]


def _rising(low: str, high: str) -> bool:
    """Whether two numbers make a range. "1/4-20" is a thread: both or neither are fractions."""
    same_kind = ("/" in low) == ("/" in high)
    return same_kind and Fraction(_plain(low)) < Fraction(_plain(high))


def _plain(number: str) -> str:
    """Digits as the number reader knows them: 1,200 -> 1200, 0,25 -> 0.25, .5 -> 0.5."""
    number = re.sub(r"^0,", "0.", number).replace(",", "")
    return f"0{number}" if number.startswith(".") else number


def _words(text: str) -> tuple[Word, ...]:
    """All words of tidy text, each with the longest pause of the gap before it."""
    words: list[Word] = []
    pause = 0.0
    for run in re.finditer(r"\s+|\S+", text):
        for piece, written in _cut(run[0], after_number=_ends_in_number(words)):
            if piece:
                other = written if written != piece else None
                words.append(Word(text=piece, pause_before=pause if words else 0.0, written=other))
                pause = 0.0
            else:
                pause = max(pause, _pause_of(written))
    return tuple(words)


def _ends_in_number(words: list[Word]) -> bool:
    return bool(words) and words[-1].text[-1].isdigit()


def _pause_of(gap: str) -> float:
    return max((_PAUSE.get(char, 0.0) for char in gap), default=0.0)


def _cut(run: str, *, after_number: bool) -> Iterator[Piece]:
    """Cut a run of characters without spaces (or one of only spaces) into words and gaps."""
    first = _FIRST.search(run)
    if first is None:
        yield "", run
        return
    core = run[first.start() : _core_end(run)]
    yield "", run[: first.start()]
    whole = _fit(core, after_number=after_number)
    yield from whole if whole is not None else _cut_at_separators(core)
    yield "", run[first.start() + len(core) :]


def _core_end(run: str) -> int:
    """Behind the last character that belongs to a word; a quote sign only as inches (3/8")."""
    end = len(run)
    while not (run[end - 1].isalnum() or run[end - 1] in "°%"):
        if run[end - 1] == '"' and run[end - 2 : end - 1].isdigit():
            break
        end -= 1
    return end


def _cut_at_separators(core: str) -> Iterator[Piece]:
    at = 0
    for gap in [*_SEPARATOR.finditer(core), None]:
        part = core[at : gap.start() if gap else len(core)]
        fitted = _fit(part, after_number=False)
        yield from fitted if fitted is not None else _as_it_stands(part)
        if gap:
            yield "", gap[0].strip("-")  # "front-left" is said without a pause
            at = gap.end()


def _as_it_stands(part: str) -> tuple[Piece, ...]:
    """A part that fits no form. With digits in it, cutting it could make up a number."""
    if any(char.isdigit() for char in part):
        return ((part.lower(), part),)
    return tuple((word.lower(), word) for word in re.findall(r"[^\W_]+|[°%]", part))


def _fit(core: str, *, after_number: bool) -> tuple[Piece, ...] | None:
    """The words of a core by the first form of _FORMS that it has, or None."""
    if len(core) > LONGEST_FORM:
        return None
    for form, words_of in _FORMS:
        found = form.fullmatch(core)
        if found and (words := words_of(found, after_number)) is not None:
            return words
    return None


def _whole(found: re.Match[str], after_number: bool) -> tuple[Piece, ...]:
    text = found[0].lower()
    return ((_SPELT_OUT.get(text, text), found[0]),)


def _symbol(found: re.Match[str], after_number: bool) -> tuple[Piece, ...] | None:
    """ "N.m" is one word behind a number; elsewhere "on.it" lacks a space."""
    return _whole(found, after_number) if after_number else None


def _groups(found: re.Match[str], after_number: bool) -> tuple[Piece, ...]:
    """Every group a word; a minus sign and numbers in the form that the number reader knows."""
    pieces = []
    for group in filter(None, found.groups()):
        is_number = re.fullmatch(_NUMBER, group)
        text = "minus" if group == "-" else _plain(group) if is_number else group.lower()
        pieces.append((text, group))
    return tuple(pieces)


def _range(found: re.Match[str], after_number: bool) -> tuple[Piece, ...] | None:
    low, low_unit, dash, high, unit = found.groups()
    if not _rising(low, high) or (low_unit and low_unit != unit):
        return None
    words = ((_plain(low), low), ("to", dash), (_plain(high), high))
    return (*words, (unit.lower(), unit)) if unit else words


def _pair(found: re.Match[str], after_number: bool) -> tuple[Piece, ...]:
    first, *rest = _groups(found, after_number)
    return (first, ("", ","), *rest)


def _list(found: re.Match[str], after_number: bool) -> tuple[Piece, ...]:
    return tuple(piece for number in found[0].split(",") for piece in ((number, number), ("", ",")))


# How a run of characters is cut: the first form that fits counts.
_FORMS = tuple(
    (re.compile(pattern), words_of)
    for pattern, words_of in (
        (r"[^\W\d_]+(?:'[^\W\d_]+)*", _whole),  # wheel, don't
        (r"\d+(?:st|nd|rd|th)", _whole),  # 2nd
        (rf"(-)?({_NUMBER})({_UNIT})?", _groups),  # 12, 0.25mm, -5°C, 3/8", 110N.m
        (rf"(\d+)-({_FRACTION})({_UNIT})?", _groups),  # 1-1/2in
        (rf"({_NUMBER})({_UNIT})?([-–])({_NUMBER})({_UNIT})?", _range),  # 10-12mm
        (_UNIT, _symbol),  # N.m, l/min, °C
        (rf"([^\W\d_]{{3,}})(\d{{1,3}}|\d*\.\d+)({_UNIT})?", _groups),  # cyl2, dot4, gap0.25mm
        (r"°[CFcf]?|%", _whole),
        (r"\d{1,2}:\d\d(?:[ap]m)?", _whole),  # 14:30
        (r"\d+(?:,\d+){2,}", _list),  # 1,2,3
        (rf"(\d+(?:\.\d+)?)/(\d+(?:\.\d+)?)({_UNIT})?", _pair),  # 12/14, 2.1/2.3bar
        (r"\d+(?:[./:]\d+)+", _whole),  # 25/11/2026
        (r"\d+,\d+", _whole),  # 1,5: two values or a decimal comma, nobody can tell
        (r"[^\W\d_]{1,2}\d[\w./-]*", _whole),  # m8, m10x1.25
        (r"[\w./]*\d-[\w./-]*\d[\w./-]*", _whole),  # 2026-11-25, 6204-2rs, 1/4-20
        (r"[\d./]+[^\W\d_]{1,2}-?\d[\w./-]*", _whole),  # 5w30, 10w-40, 205/55r16, 10x1.5mm
    )
)
