"""Fields of a reading as a person types them -> the reading with these fields."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, get_args

from talklog import notes
from talklog.corrected.as_checked import certain_reading
from talklog.errors import CorrectionError, UnitError
from talklog.new_record import unit_fields
from talklog.record import Reading, Role, ServiceRecord
from talklog.units import load_units, quantity_names, unit_named

ROLES: tuple[str, ...] = get_args(Role)
LONGEST_NAME, LONGEST_VALUE = 80, 20  # characters
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


def changed(reading: Reading, changes: Mapping[str, str]) -> Reading:
    """The reading with other fields; what follows from value and unit is worked out again."""
    unknown = set(changes) - set(FIELDS)
    if unknown:
        raise CorrectionError(f"A reading has no {', '.join(sorted(unknown))}.")
    made = reading.model_copy(update={name: FIELDS[name](text) for name, text in changes.items()})
    if not same(reading, made, ("unit", "quantity")):
        _check_kinship(made)
    try:
        return made.model_copy(update=unit_fields(certain_reading(made)))
    except UnitError as error:
        raise CorrectionError(str(error)) from error


def _check_kinship(reading: Reading) -> None:
    """A torque in millimetres is a slip of the hand."""
    if reading.unit is None or reading.quantity in unit_named(reading.unit).quantities:
        return
    fitting = [u.name for u in load_units().values() if reading.quantity in u.quantities]
    wanted = f"units for it are {', '.join(fitting)}" if fitting else "it has no unit"
    raise CorrectionError(f"{reading.unit} does not measure {reading.quantity}; {wanted}.")


def number_typed(text: str) -> str:
    """A decimal as it is kept: ".25" is "0.25". Commas are refused, for they mean two things."""
    plain = text.strip().replace("−", "-")
    plain = re.sub(r"^(-?)\.", r"\g<1>0.", plain.removeprefix("+"))
    if "," in plain:
        raise CorrectionError(f"{text!r}: write the value with a point and without commas.")
    if len(plain) > LONGEST_VALUE or not _NUMBER.fullmatch(plain):
        raise CorrectionError(f"{text!r} is no value; write a number such as 0.25.")
    return plain


def _unit_typed(text: str) -> str | None:
    name = text.strip()
    if not name:
        return None
    if name not in load_units():
        raise CorrectionError(f"{name!r} is no unit that talklog knows; choose one of the list.")
    return name


def text_typed(text: str, what: str) -> str:
    """One line of plain text, blanks squeezed."""
    squeezed = " ".join(text.split())
    if len(squeezed) > LONGEST_NAME:
        raise CorrectionError(f"{what}: {LONGEST_NAME} letters at most.")
    if not squeezed.isprintable():
        raise CorrectionError(f"{what}: holds signs that cannot be printed.")
    return squeezed


def _one_of(known: Iterable[str], what: str) -> Callable[[str], str]:
    def rule(text: str) -> str:
        names = tuple(known)
        if text not in names:
            raise CorrectionError(f"{text!r} is no {what}; known are {', '.join(names)}.")
        return text

    return rule


FIELDS: dict[str, Callable[[str], str | None]] = {
    "value": number_typed,
    "unit": _unit_typed,
    "quantity": lambda text: _one_of(quantity_names(), "quantity")(text),
    "component": lambda text: text_typed(text, "component") or notes.NOT_SAID,
    "position": lambda text: text_typed(text, "position") or None,
    "condition": lambda text: text_typed(text, "condition") or None,
    "role": _one_of(ROLES, "role"),
}


def blank_reading(record: ServiceRecord, item: Any) -> Reading:
    """A reading of the words of another item; value and quantity must still be given."""
    first, last = item.words
    words = record.words[first : last + 1]
    sure = [word.confidence for word in words if word.confidence is not None]
    blank = dict.fromkeys(Reading.model_fields)
    return Reading.model_construct(
        **blank
        | {"heard": item.heard, "words": item.words, "value": "", "quantity": ""}
        | {"start": words[0].start, "end": words[-1].end}
        | {"confidence": min(sure) if sure else None, "presumed": ()}
    )


def same(one: Reading, other: Reading, names: Iterable[str]) -> bool:
    return all(getattr(one, name) == getattr(other, name) for name in names)
