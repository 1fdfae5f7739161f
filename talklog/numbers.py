"""Step 3a: number words -> every plausible value, by word index. Knows no units, parts or bands.

The steps lie in ``number_words``: the words are first put into classes from ``data/numbers.toml``
(``tokens``). Of a run of them a small grammar makes *atoms* (``atoms``: one number each, over some
of the words), and a search joins atoms into complete readings (``search``). Each atom has a cost;
the cheapest reading is the most usual one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from talklog.number_words.alike import alike_steps
from talklog.number_words.atoms import find_atoms
from talklog.number_words.kinds import LONG_PAUSE, SHORT_PAUSE, Atom, Line, Token
from talklog.number_words.search import cheapest_paths
from talklog.number_words.tokens import find_lines
from talklog.transcript import Word

MAX_READINGS = 8
SCALES = ("hundred", "thousand")  # words that are never parted from the number before
WORST = 2.5  # readings that cost this much more than the best are not plausible


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
    "one ten" -> ((110,), (1, 10)). There is always at least one, at most ``MAX_READINGS``.
    ``alike`` is the only one in which all numbers of a list have the same form, if there is one."""

    first: int
    last: int
    readings: tuple[tuple[Number, ...], ...]
    alike: tuple[Number, ...] = ()


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
    found = (_read_run(line) for line in find_lines(words))
    return tuple(run for run in found if run is not None)


# ---- lines that were read before -----------------------------------------------------------------


def _read_run(line: Line) -> NumberRun | None:
    """The readings of a line. The same words are said again and again: they are read once."""
    first = line.tokens[0].word
    alike = tuple(replace(t, word=t.word - first, pause=_bucket(t.pause)) for t in line.tokens)
    run = _read_at_zero(alike, line.before)
    return run and _moved(run, first)


def _bucket(pause: float) -> float:
    """A pause of the same effect: none, short, just long, longer."""
    if pause > LONG_PAUSE:
        return 2 * LONG_PAUSE
    return max((limit for limit in (SHORT_PAUSE, LONG_PAUSE) if pause >= limit), default=0.0)


def _moved(run: NumberRun, by: int) -> NumberRun:
    readings = tuple(_shifted(reading, by) for reading in run.readings)
    return NumberRun(run.first + by, run.last + by, readings, _shifted(run.alike, by))


def _shifted(numbers: tuple[Number, ...], by: int) -> tuple[Number, ...]:
    return tuple(replace(n, first=n.first + by, last=n.last + by) for n in numbers)


# ---- readings ------------------------------------------------------------------------------------


@lru_cache(maxsize=20_000)
def _read_at_zero(tokens: tuple[Token, ...], before: str) -> NumberRun | None:
    line = Line(tokens, before)
    atoms = [find_atoms(line, at) for at in range(len(line.tokens))]
    paths = cheapest_paths(line, atoms)
    if paths[0].atom is None:
        return None
    kept = [path for path in paths if path.atom and path.cost <= paths[0].cost + WORST]
    found = (tuple(_number(line, *step) for step in path.numbers()) for path in kept)
    readings = _distinct(found)[:MAX_READINGS]
    return NumberRun(
        first=min(reading[0].first for reading in readings),
        last=max(reading[-1].last for reading in readings),
        readings=tuple(readings),
        alike=tuple(_number(line, *step) for step in alike_steps(line, atoms) or ()),
    )


def _distinct(readings: Iterable[tuple[Number, ...]]) -> list[tuple[Number, ...]]:
    """Without those that say the same numbers over fewer words."""
    found: dict[tuple[tuple[str, str | None], ...], tuple[Number, ...]] = {}
    for reading in readings:
        found.setdefault(tuple((number.said, number.high_said) for number in reading), reading)
    return list(found.values())


def _number(line: Line, start: int, atom: Atom) -> Number:
    return Number(
        first=line.tokens[start].word,
        last=line.tokens[atom.end - 1].word,
        value=Decimal(atom.said),
        said=atom.said,
        form=atom.form,
        high=Decimal(atom.high) if atom.high else None,
        high_said=atom.high,
    )
