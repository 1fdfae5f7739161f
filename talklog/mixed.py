"""Step 4c: numbers with their unit in the middle. Knows no bands.

"an inch and a half" is 1.5 in, "two litres and a quarter" 2.25 l. "one metre forty" is 1.4 m, and
asked about, for it could be two numbers; "four litres and seven hundred mil" is 4.7 l, "three feet
two inches" 38 in. "a mil" is 1 mm where the trained reader takes it for a
value, and else no number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from talklog.mentions import Mention, Mentions, near
from talklog.numbers import Number
from talklog.rates import RATE, is_rate
from talklog.roled import ARTICLE, RoledNumber
from talklog.transcript import Transcript
from talklog.vocabulary import load

# Units of which the hundredths go unnamed, and the words for them. Common practice, no source.
HUNDREDS = {
    "m": ("metre", "metres", "meter", "meters"),
    "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
}
# Units that are said together, the larger first, and how many make one: exact by definition
# (BIPM, SI Brochure; NIST Handbook 44, appendix C).
TOGETHER = {
    ("l", "ml"): 1000, ("m", "cm"): 100, ("m", "mm"): 1000, ("kg", "g"): 1000,
    ("ft", "in"): 12, ("lb", "oz"): 16, ("deg", "min"): 60,
}  # fmt: skip
PLACES = 6  # decimals of a sum that has no end: two degrees forty in degrees
ANGLES = ("angle", "toe")  # what is said in degrees and minutes
NO_VALUE = ("side", "terminal", "post", "lead", "cable", "lug", "pole", "end", "earth", "clamp")
PART = "tenth"  # a unit that is a part of something else by its name
WHOLE = ("full", "whole", "good", "clear", "complete", "solid")  # "a full volt"
PARTS = ("half", "quarter", "third", "eighth", "of")  # before "a mil"
BROKEN = ("fraction", "decimal", "tail")  # forms of what follows "and"


def with_mixed(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[RoledNumber]:
    """The numbers, with a unit and a part of one behind it made one number."""
    words = [word.text for word in transcript.words]
    angles = any(said.name in ANGLES for said in mentions.of("quantity"))
    summed = [_signed(words, item) if angles else item for item in _sums(words, roled, angles)]
    result = {item.first: item for item in summed}
    roled = list(result.values())
    for unit in mentions.of("unit"):
        part = _behind(words, unit, roled)
        if part is None:
            continue
        whole = next((n for n in near(roled, unit.first, unit.first)
                      if n.number.last == unit.first - 1 and n.unit is not None), None)  # fmt: skip
        result.pop(part.first)
        if whole is not None:
            result.pop(whole.first, None)
        joined = _joined(words, unit, whole, part)
        result[joined.first] = joined
    covered = {at for item in result.values() for at in range(item.first, item.last + 1)}
    for unit in mentions.of("unit"):
        at = _article(words, unit)
        if at is not None and not covered & {at, unit.first}:
            result[at] = _one(words, unit, at)
    return sorted(result.values(), key=lambda item: item.first)


def _signed(words: Sequence[str], item: RoledNumber) -> RoledNumber:
    """ "camber two point one degrees negative": below nothing, with its sign behind it."""
    behind = words[item.last + 1 : item.last + 3]
    below = behind[:1] and behind[0] in load().small_words["below_nothing"]
    measured = item.unit is None or item.unit.name in ("deg", "min")
    plain = item.number.high is None and item.number.value > 0
    if not (below and measured and plain) or (behind[1:] and behind[1] in NO_VALUE):
        return item
    number = item.number
    signed = replace(number, value=-number.value, said=f"-{number.said}")
    return replace(item, number=signed)


def _sums(words: Sequence[str], roled: Sequence[RoledNumber], angles: bool) -> list[RoledNumber]:
    """The numbers, with two of one kind that are said together made one; ``angles``: whether one
    was spoken of, for "thirty degrees ten minutes" may be a temperature and a time."""
    found: list[RoledNumber] = []
    for item in roled:
        last = found[-1] if found else None
        joined = _sum(last, item, angles) if last and _beside(words, last, item) else None
        found[len(found) - bool(joined) :] = [joined or item]
    return found


def _beside(words: Sequence[str], one: RoledNumber, other: RoledNumber) -> bool:
    return list(words[one.last + 1 : other.first]) in ([], ["and"])


def _sum(one: RoledNumber, other: RoledNumber, angles: bool) -> RoledNumber | None:
    """One number in the larger unit where the parts are tenths, else in the smaller."""
    names = [[own.name for own in item.unit.units] if item.unit else [] for item in (one, other)]
    pair = next((p for p in TOGETHER if p[0] in names[0][:1] and p[1] in names[1]), None)
    plain = one.number.high is None and other.number.high is None
    if pair is None or not plain or not 0 < other.number.value < TOGETHER[pair]:
        return None
    if pair[0] == "deg" and not angles:
        return None
    parts = Decimal(TOGETHER[pair])
    if parts % 10 == 0:
        own, name = one, pair[0]
        value = round(one.number.value + other.number.value / parts, PLACES)
    else:
        own, name, value = other, pair[1], one.number.value * parts + other.number.value
    assert own.unit is not None and other.unit is not None
    units = tuple(unit for unit in own.unit.units if unit.name == name)
    unit = replace(other.unit, name=name, units=units)
    said = f"{value.normalize():f}"
    number = replace(one.number, last=other.number.last, value=value, said=said, form="mixed")
    doubt = one.doubt or other.doubt or "it could be two numbers"
    return replace(one, number=number, unit=unit, others=(), doubt=doubt)


def _article(words: Sequence[str], unit: Mention) -> int | None:
    """Where the article of "a mil" and "a turn" stands; not of "twelve a minute": no stretch of
    time, and no unit after a rate."""
    at = unit.first if words[unit.first] in ("a", "an") else unit.first - 1
    at -= at > 0 and words[at] in WHOLE
    before = words[at - 1] if at > 0 else ""
    other = unit.name == PART or before in PARTS or words[unit.last + 1 : unit.last + 2] == ["or"]
    time = any(own.quantities[0] == "time" for own in unit.units)
    return at if at >= 0 and words[at] in ("a", "an") and not other and not time else None


def _one(words: Sequence[str], unit: Mention, at: int) -> RoledNumber:
    number = Number(at, at, Decimal(1), "1", "article")
    doubt = RATE if is_rate(words[unit.last + 1 : unit.last + 3]) else None
    return RoledNumber(number, unit, ARTICLE, "an article before a unit", doubt)


def _behind(
    words: Sequence[str], unit: Mention, roled: Sequence[RoledNumber]
) -> RoledNumber | None:
    """ "and a half", "and three eighths" right behind a unit, with no unit of its own."""
    if unit.name in HUNDREDS and words[unit.last] in HUNDREDS[unit.name]:
        return next((n for n in near(roled, unit.last, unit.last) if _is_rest(n, unit)), None)
    if words[unit.last + 1 : unit.last + 2] != ["and"]:
        return None
    article = words[unit.last + 2 : unit.last + 3] in (["a"], ["an"])
    close = (n for n in near(roled, unit.last, unit.last) if n.number.form in BROKEN)
    return next((n for n in close if n.unit is None and n.number.value < 1
                 and unit.last + 1 <= n.first <= unit.last + 2 + article), None)  # fmt: skip


def _is_rest(item: RoledNumber, unit: Mention) -> bool:
    """The "forty" of "one metre forty": centimetres that nobody names."""
    value, beside = item.number.value, item.first == unit.last + 1
    return beside and item.unit is None and value == int(value) and 10 <= value <= 99


def _joined(
    words: Sequence[str], unit: Mention, whole: RoledNumber | None, part: RoledNumber
) -> RoledNumber:
    hundredths = part.number.value >= 1
    behind = part.number.value / 100 if hundredths else part.number.value
    value = (whole.number.value if whole else Decimal(1)) + behind
    article = unit.first and words[unit.first - 1] in ("a", "an")
    first = whole.first if whole else unit.first - bool(article)
    said = f"{value.normalize():f}"
    number = replace(part.number, first=first, value=value, said=said, form="mixed")
    doubt = "it could be two numbers" if hundredths else (whole or part).doubt
    return replace(whole or part, number=number, unit=unit, others=(), doubt=doubt)
