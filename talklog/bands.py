"""Band sheets: the limits of one machine, read strictly from a TOML file.

A sheet has one ``[machine]``, any number of ``[[band]]`` and of ``[[expect]]`` (what a complete
note should hold). Anything not understood is refused, with the allowed words listed, because a
limit that is quietly ignored is worse than none.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from talklog.errors import DataFileError
from talklog.nouns import singular
from talklog.units import load_units, quantity_names, same_kind

MAX_BYTES = 1_000_000  # a sheet of thousands of bands is far smaller
_MAX_TEXT = 2_000


@dataclass(frozen=True, slots=True)
class Machine:
    """``authority`` names the one that counts where bands of several authorities disagree."""

    key: str
    name: str
    kind: str = ""
    notes: str = ""
    authority: str | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """Limits for one quantity of one component; one of ``low`` and ``high`` may be missing.

    Limits are inclusive, except that ``high_open`` leaves the high limit itself out (some
    published classes end "less than"). ``unit`` is a trade name; only a count has none.
    ``also`` are other names of the component. ``entry`` is the place in the file, from 1.
    """

    quantity: str
    component: str
    source: str
    unit: str | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    position: str | None = None
    condition: str | None = None
    caution: str | None = None
    critical: bool = False
    authority: str | None = None
    high_open: bool = False
    also: tuple[str, ...] = ()
    entry: int = 0


@dataclass(frozen=True, slots=True)
class Expect:
    """What a complete note holds: one reading for each position, or ``count`` of them."""

    quantity: str
    component: str
    positions: tuple[str, ...] = ()
    count: int | None = None
    entry: int = 0


@dataclass(frozen=True, slots=True)
class BandSheet:
    """A machine with its bands and expectations, in file order."""

    machine: Machine
    bands: tuple[Band, ...] = ()
    expects: tuple[Expect, ...] = ()


def load_bands(path: Path) -> BandSheet:
    """The sheet in a file. Raises DataFileError that names the file and lists every problem."""
    sheet, problems = _read(path)
    if sheet is None:
        raise DataFileError("\n".join(f"{path.name}: {problem}" for problem in problems))
    return sheet


def find_problems(path: Path) -> tuple[str, ...]:
    """Everything wrong with a sheet, at once, each with its entry: "band 3: low 5 is above ..."
    Empty when the sheet is good. Never raises for what is in the file."""
    return tuple(_read(path)[1])


def parse_bands(text: str) -> BandSheet:
    """The sheet in a text. Raises DataFileError that lists every problem."""
    sheet, problems = _parse(text)
    if sheet is None:
        raise DataFileError("\n".join(problems))
    return sheet


# ---- file to tables ------------------------------------------------------------------------------


def _read(path: Path) -> tuple[BandSheet | None, list[str]]:
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except OSError as error:
        return None, [f"cannot be read: {error.strerror or error}."]
    if len(data) > MAX_BYTES:
        return None, [f"larger than {MAX_BYTES:,} bytes; that is no band sheet."]
    try:
        return _parse(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        return None, [f"not UTF-8 text (byte {error.start + 1}); save it as UTF-8."]


def _parse(text: str) -> tuple[BandSheet | None, list[str]]:
    try:
        data = tomllib.loads(text, parse_float=_decimal)
    except (
        ValueError,
        RecursionError,
    ) as error:  # ValueError: bad TOML, or a number of 5000 digits
        return None, [f"not valid TOML: {error or type(error).__name__}."]
    problems = _unknown(data, ("machine", "band", "expect"), "top level")
    machine = _machine(data.get("machine"), problems)
    bands = _entries(data.get("band", []), "band", _band, problems)
    expects = _entries(data.get("expect", []), "expect", _expect, problems)
    if not problems and machine is not None:
        problems += [*_duplicates(bands), *_unsettled(machine, bands), *_same_expects(expects)]
    if problems or machine is None:
        return None, problems
    return BandSheet(machine, tuple(bands), tuple(expects)), []


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace("_", ""))


def _entries(tables: Any, name: str, build: Callable[..., Any], problems: list[str]) -> list[Any]:
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        problems.append(f"write [[{name}]] with two brackets on each side, one table an entry.")
        return []
    built = [build(table, entry, problems) for entry, table in enumerate(tables, start=1)]
    return [entry for entry in built if entry is not None]


# ---- tables to dataclasses -----------------------------------------------------------------------


def _machine(table: Any, problems: list[str]) -> Machine | None:
    if not isinstance(table, dict):
        problems.append("a [machine] table with key and name is needed.")
        return None
    found = _checked(table, Machine, "machine", _MACHINE)
    problems += found
    return None if found else Machine(**_cleaned(table))


def _band(table: Mapping[str, Any], entry: int, problems: list[str]) -> Band | None:
    found = _checked(table, Band, f"band {entry}", _BAND)
    found = found or [f"band {entry}: {text}" for text in _limit_problems(_band_of(table, entry))]
    problems += found
    return None if found else _band_of(table, entry)


def _band_of(table: Mapping[str, Any], entry: int) -> Band:
    limits = {key: Decimal(table[key]) for key in ("low", "high") if key in table}
    return Band(**{**_cleaned(table), **limits}, entry=entry)


def _expect(table: Mapping[str, Any], entry: int, problems: list[str]) -> Expect | None:
    found = _checked(table, Expect, f"expect {entry}", _EXPECT)
    if not found and ("positions" in table) == ("count" in table):
        found = [f"expect {entry}: give either positions or count."]
    problems += found
    return None if found else Expect(**_cleaned(table), entry=entry)


def _cleaned(table: Mapping[str, Any]) -> dict[str, Any]:
    """Texts without outer blanks, lists as tuples."""
    return {
        key: value.strip()
        if isinstance(value, str)
        else tuple(text.strip() for text in value)
        if isinstance(value, list)
        else value
        for key, value in table.items()
    }


def _limit_problems(band: Band) -> list[str]:
    return [text for wrong, text in _limit_rules(band) if wrong]


def _limit_rules(band: Band) -> list[tuple[bool, str]]:
    low, high = band.low, band.high
    both = low is not None and high is not None
    return [
        (low is None and high is None, "neither low nor high is given; one is needed."),
        (both and low > high, f"low {low} is above high {high}."),
        (band.high_open and high is None, "high_open needs a high limit."),
        (band.high_open and both and low == high, "nothing lies between low and an open high."),
        (band.unit is None and band.quantity != "count", "unit is missing; only a count has none."),
        (not _unit_fits(band), f"{band.unit} does not measure {band.quantity}; {_fitting(band)}."),
    ]


def _unit_fits(band: Band) -> bool:
    if band.unit is None or band.quantity == "count":
        return True
    return any(same_kind(band.unit, name) for name in _units_for(band.quantity))


def _units_for(quantity: str) -> list[str]:
    return [unit.name for unit in load_units().values() if quantity in unit.quantities]


def _fitting(band: Band) -> str:
    return f"units for it are {', '.join(_units_for(band.quantity))}"


# ---- rules for single keys -----------------------------------------------------------------------

_Rule = Callable[[Any], str | None]  # what is wrong with a value, or None


def _text(value: Any) -> str | None:
    if not isinstance(value, str):
        return "must be text in quotes"
    if not value.strip() or len(value) > _MAX_TEXT:
        return f"must have 1 to {_MAX_TEXT} letters"
    return None if value.replace("\n", "").isprintable() else "holds control characters"


def _free_text(value: Any) -> str | None:
    return None if value == "" else _text(value)


def _texts(value: Any) -> str | None:
    if not isinstance(value, list) or not value:
        return 'must be a list of texts, such as ["front", "rear"]'
    return next((wrong for wrong in map(_text, value) if wrong), None)


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else "must be true or false"


def _limit(value: Any) -> str | None:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        return "must be a number without quotes"
    finite = Decimal(value).is_finite() and abs(Decimal(value).adjusted()) < 30
    return None if finite else "must be an everyday number"


def _whole(value: Any) -> str | None:
    good = isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 10_000
    return None if good else "must be a whole number from 1"


def _one_of(known: Callable[[], Iterable[str]], what: str) -> _Rule:
    def rule(value: Any) -> str | None:
        names = list(known())
        if isinstance(value, str) and value.strip() in names:
            return None
        return f"{value!r} is no {what}{_meant(str(value), names)}; known are {', '.join(names)}"

    return rule


def _meant(word: str, names: Iterable[str]) -> str:
    close = get_close_matches(word, names, n=1)
    return f" (did you mean {close[0]}?)" if close else ""


_QUANTITY = _one_of(quantity_names, "quantity")
_MACHINE: dict[str, _Rule] = {
    "key": _text,
    "name": _text,
    "kind": _free_text,
    "notes": _free_text,
    "authority": _text,
}
_BAND: dict[str, _Rule] = {
    "quantity": _QUANTITY,
    "component": _text,
    "source": _text,
    "unit": _one_of(load_units, "unit"),
    "low": _limit,
    "high": _limit,
    "position": _text,
    "condition": _text,
    "caution": _text,
    "critical": _flag,
    "authority": _text,
    "high_open": _flag,
    "also": _texts,
}
_EXPECT: dict[str, _Rule] = {
    "quantity": _QUANTITY,
    "component": _text,
    "positions": _texts,
    "count": _whole,
}


def _checked(
    table: Mapping[str, Any], kind: type, where: str, rules: Mapping[str, _Rule]
) -> list[str]:
    """Unknown keys, missing keys and wrong values of one table."""
    needed = [f.name for f in fields(kind) if f.default is MISSING and f.name in rules]
    found = _unknown(table, rules, where)
    found += [f"{where}: {key} is missing." for key in needed if key not in table]
    known = ((key, rules[key](value)) for key, value in table.items() if key in rules)
    return found + [f"{where}: {key} {wrong}." for key, wrong in known if wrong]


def _unknown(table: Mapping[str, Any], allowed: Iterable[str], where: str) -> list[str]:
    names = list(allowed)
    return [
        f"{where}: unknown key {key!r}{_meant(key, names)}; allowed are {', '.join(names)}."
        for key in table
        if key not in names
    ]


# ---- rules for the whole sheet -------------------------------------------------------------------


def plain_words(text: str) -> tuple[str, ...]:
    """A name for comparing: lower case, hyphens as blanks, plural endings off."""
    return tuple(singular(word) for word in text.lower().replace("-", " ").split())


def _case(band: Band) -> tuple[str, str, str, str]:
    """What a band is for, authority apart."""
    texts = (band.component, band.position or "", band.condition or "")
    return (band.quantity, *("".join(plain_words(text)) for text in texts))  # type: ignore[return-value]


def _duplicates(bands: list[Band]) -> list[str]:
    first: dict[tuple[Any, ...], int] = {}
    found = []
    for band in bands:
        seen = first.setdefault((*_case(band), band.authority), band.entry)
        if seen != band.entry:
            found.append(
                f"band {band.entry}: says again what band {seen} is for ({band.quantity}, "
                f"{band.component}); keep one, or name the authority of each."
            )
    return found


def _unsettled(machine: Machine, bands: list[Band]) -> list[str]:
    """Bands of several authorities with nobody named to count."""
    named = {band.authority for band in bands if band.authority}
    if machine.authority and machine.authority not in named:
        return [f"machine: authority {machine.authority!r} is named by no band."]
    cases = Counter(map(_case, bands))
    rivals = [band for band in bands if cases[_case(band)] > 1]
    if machine.authority or not rivals:
        return []
    entries = ", ".join(str(band.entry) for band in rivals)
    return [f"bands {entries}: several authorities; say in [machine] authority which one counts."]


def _same_expects(expects: list[Expect]) -> list[str]:
    first: dict[tuple[Any, ...], int] = {}
    return [
        f"expect {e.entry}: the same as expect {first[key]}; keep one."
        for e in expects
        if first.setdefault(key := (e.quantity, *plain_words(e.component)), e.entry) != e.entry
    ]
