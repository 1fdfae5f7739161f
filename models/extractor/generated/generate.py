"""Notes made from ``clauses.txt``: text for training only, never for a figure.

    python -m models.extractor.generated.generate [--count 20] [--seed 1]      prints some of it

Each note strings a few clauses together, with numbers, units, things and places drawn at random,
now and then a filler between and a word lost or doubled as a recogniser does.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click
from num2words import num2words

from talklog.vocabulary import load

CLAUSES = Path(__file__).parent / "clauses.txt"
NUMBER = re.compile(r"<(\w+)(?:=(\w+))?>")
FILLERS = ("um", "er", "and", "so", "right", "then", "well", "okay", "but", "uh", "now")
FILLED, LOST, DOUBLED = 0.4, 0.01, 0.005  # shares of clauses and of words
BARE = 0.35  # share of values whose unit is left out
UNITS = {
    "len": ("mil", "millimetres", "millimetre", "mm", "inch", "inches", "thou", "mils"),
    "thou": ("thou", "thousandths"),
    "psi": ("psi", "p s i", "pounds"),
    "bar": ("bar",),
    "volt": ("volts", "volt"),
    "amp": ("amps", "amp"),
    "watt": ("watt", "watts"),
    "nm": ("newton metres", "newton meters", "foot pounds", "inch pounds"),
    "temp": ("degrees", "degrees c", "degrees celsius", "degrees fahrenheit"),
    "ohm": ("ohms", "ohm", "k", "megs"),
    "vol": ("litres", "litre", "mil", "quarts", "gallon"),
    "mass": ("kilo", "kilos", "pound", "pounds", "grams"),
    "newton": ("newton", "newtons"),
    "time": ("minutes", "seconds", "hours", "days", "weeks", "minute", "hour", "years"),
    "weeks": ("weeks", "months", "days"),
    "dist": ("miles", "kilometres", "hours", "kays", "k", "thousand miles"),
    "meter": ("miles", "hours", "kilometres", "kays", ""),
    "rpm": ("r p m", "revs"),
    "percent": ("percent",),
}
SLOTS = {"{thing}": "components", "{place}": "positions", "{quantity}": "quantities"}
READING, OFTEN = ("=measured", "=set", "=as_left"), 2  # most numbers of a note are readings
ANY = ("len", "thou", "psi", "bar", "volt", "amp", "nm", "temp", "ohm", "vol", "rpm", "percent")
FRACTIONS = ("half", "a half", "three eighths", "five sixteenths", "a quarter", "three quarter")
TENTHS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh")


@dataclass(frozen=True, slots=True)
class Made:
    """A generated note: its words, and for each word the role of the number it belongs to."""

    words: tuple[str, ...]
    roles: tuple[str | None, ...]


def make_notes(count: int, *, seed: int) -> Iterator[Made]:
    """Generated notes, the same for the same seed."""
    chance = random.Random(seed)
    lines = CLAUSES.read_text("utf-8").splitlines()
    clauses = [line for line in lines if line.strip() and not line.startswith("#")]
    weights = [OFTEN if any(role in line for role in READING) else 1 for line in clauses]
    for _ in range(count):
        chosen = chance.choices(clauses, weights, k=chance.choice((1, 2, 2, 3, 3, 4, 5)))
        yield _noised(chance, [pair for clause in chosen for pair in _clause(chance, clause)])


def _clause(chance: random.Random, clause: str) -> Iterator[tuple[str, str | None]]:
    if chance.random() < FILLED:
        yield chance.choice(FILLERS), None
    for group in re.findall(r"\([^)]*\)|\S+", clause):
        pieces = group.strip("()").split() if group.startswith("(") else [group]
        if group.startswith("(") and chance.random() < 0.5:
            continue
        for piece in pieces:
            yield from _piece(chance, chance.choice(piece.split("|")))


def _piece(chance: random.Random, piece: str) -> Iterator[tuple[str, str | None]]:
    number = NUMBER.fullmatch(piece)
    if number:
        yield from ((word, number[2]) for word in _number(chance, number[1]).split())
    elif "{" in piece:
        for name, table in SLOTS.items():
            if name in piece:
                phrase = " ".join(
                    chance.choice(chance.choice(list(getattr(load(), table).values())))
                )
                yield from ((word, None) for word in piece.replace(name, phrase).split())
    elif piece == "one=no_number":
        yield "one", "no_number"
    else:
        yield piece, None


def _noised(chance: random.Random, pairs: list[tuple[str, str | None]]) -> Made:
    kept = []
    for pair in pairs:
        kept += [pair] * (1 + (chance.random() < DOUBLED) - (chance.random() < LOST))
    kept = kept or pairs
    return Made(tuple(word for word, _ in kept), tuple(role for _, role in kept))


# ---- numbers in words ----------------------------------------------------------------------------


def _number(chance: random.Random, kind: str) -> str:
    if kind == "any":
        unit = chance.choice(ANY)
        return _value(chance, unit) + _unit(chance, unit, BARE)
    if kind in UNITS:
        return _value(chance, kind) + _unit(chance, kind, 0.0)
    return VALUES[kind](chance)


def _unit(chance: random.Random, kind: str, bare: float) -> str:
    return "" if chance.random() < bare else f" {chance.choice(UNITS[kind])}"


def _value(chance: random.Random, kind: str) -> str:
    if kind in ("bar", "len", "ohm", "volt", "vol") and chance.random() < 0.5:
        return _decimal(chance)
    if kind in ("dist", "meter", "rpm"):
        return VALUES["big"](chance)
    if kind in ("time", "weeks", "thou", "mass", "bar"):
        return VALUES["small"](chance) if chance.random() < 0.7 else VALUES["int"](chance)
    return VALUES["int"](chance)


def _decimal(chance: random.Random) -> str:
    whole = chance.choice(("", "nought", "zero", *(_said(n) for n in range(1, 15))))
    return f"{whole} point {' '.join(chance.choices(TENTHS, k=chance.choice((1, 1, 2))))}".strip()


def _said(number: int) -> str:
    text = num2words(number).replace("-", " ").replace(",", "")
    return text.replace("one hundred", "a hundred") if number % 2 else text


VALUES: dict[str, Callable[[random.Random], str]] = {
    "small": lambda chance: _said(chance.choice((1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 13, 14))),
    "int": lambda chance: _said(chance.randint(11, 320)),
    "big": lambda chance: _said(chance.choice((10, 50, 100, 500)) * chance.randint(2, 90)),
    "frac": lambda chance: chance.choice(FRACTIONS),
}


@click.command()
@click.option("--count", default=20, show_default=True)
@click.option("--seed", default=1, show_default=True)
def main(count: int, seed: int) -> None:
    """Prints generated notes, each number with its role behind it."""
    for made in make_notes(count, seed=seed):
        shown = [f"{w}/{r}" if r else w for w, r in zip(made.words, made.roles, strict=True)]
        click.echo(" ".join(shown))


if __name__ == "__main__":
    main()
