"""Step 4e: the final role of each number, by the rules and the trained reader. Knows no bands.

What a cue decides stays so unless the reader is all but certain that it is otherwise. Another
number gets the role that is most probable, or a doubt.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace

from talklog.lists import NEVER_CARRIED, borrowed
from talklog.mentions import Mention, Mentions, near
from talklog.place_lists import with_listed_places
from talklog.places import LARGEST_PLACE, PARTS, counted
from talklog.role_rules.cued import DISTANCES, HOURS
from talklog.role_rules.doubts import OF_ANOTHER, OF_WHAT, PERHAPS_NONE
from talklog.role_rules.without_cue import FORMS, RANGE
from talklog.roled import ARTICLE, MEASURING, RoledNumber
from talklog.roles import assign_roles
from talklog.seeing.kinds import NumberSeen, Seen
from talklog.seen import see
from talklog.transcript import Transcript
from talklog.vocabulary import load

# Chosen on the notes of dev and check: see models/extractor/README.md.
FOUND = 1.6  # how much more often a value is one found than the reader thinks
CUED, PLAIN = 2.5, 0.8  # times as probable is the role by rule, with a cue and without
READ_ANYWAY = 0.92  # P(reading) from which what its form set aside is one all the same
READ_FROM = 0.85  # P(reading) from which a number is a reading
READ_FROM_PART = 0.8  # the same, of a number with a part: it counts nothing
ROUGH = "rough"  # "a couple of turns" may be a reading, a couple of shims is none
ONE = "1"  # mostly a pronoun: "the other one"
READ_DOUBTFULLY = 0.4  # from which it is not set aside without a question
SET_FROM = 0.7  # P(set) over P(reading) from which a value was set with no word that says so
ASK_BELOW = 0.85  # P(reading) below which a reading is asked about
NAMED_LEAST = 0.05  # P(reading) from which a value beside its quantity and unit stays a reading
BESIDE = 3  # words between a value and the word for what is measured
JUST = 2  # words between a thing and its value
METER_FROM = 0.8  # P(meter) from which a number is that of the machine's meter
LONG_HOURS = 100  # no job takes as long, whatever the words around say
SIZES = ("part_size", "tool_size")
EXACT_FROM, ROUND = 3000, 10  # from here on no year; what is no multiple of ten is no round figure
METER_PERHAPS = 0.3  # from which what may be one is asked about
LENT, LENT_SURELY = 0.5, 0.9  # P(unit) from which a bare value gets it, and is not asked about
FITS_FROM = 0.05  # P(what it measures) from which a value keeps a unit that was said of another
LENT_NEAR = 9  # words between the value and its unit at most, if it is not asked about
# What the reader tells apart and the steps behind do not.
ALIKE = {"part_quantity": "count", "no_number": "count", "unsure": "unknown"}
# The rules know better what can be one of these.
NOT_READ = ("meter", "follow_up", "inside", "unknown")
# P(reading) from which it is one against a cue of a book or an opinion, or a correction.
READ_OVER_CUE = 0.97
QUOTED = ("quoted_spec", "other_opinion", "position", "superseded")
PLANNED = ("intention", "hypothetical")  # what a cue calls a plan becomes no reading
ASIDE_BY_RULE = ("time_or_date", "superseded")
PAIRED = ("as_found", "as_left")  # roles of a value that was another one before or after


def final_roles(transcript: Transcript, mentions: Mentions) -> tuple[tuple[RoledNumber, ...], Seen]:
    """The numbers with their roles, and all that the reader saw in the note. "chucked two at three
    hundred newtons in" -> the size of a part.

    ``because`` of a number that the reader changed says so and how probable it is.
    """
    roled = assign_roles(transcript, mentions)
    seen = see(transcript, mentions, roled)
    if seen.cuts:
        roled = assign_roles(transcript, mentions, seen.cuts)
        seen = see(transcript, mentions, roled)
    return with_listed_places(transcript, settle(mentions, roled, seen), seen), seen


def settle(
    mentions: Mentions,
    roled: Sequence[RoledNumber],
    seen: Seen,
) -> tuple[RoledNumber, ...]:
    """The numbers in their most probable roles; what the rules say of one speaks for that role."""
    chances = [_weighed(item, own.roles, CUED if _is_cued(item) else PLAIN)
               for item, own in zip(roled, seen.numbers, strict=True)]  # fmt: skip
    best = Counter(max(own, key=own.__getitem__) for own in chances)
    if not best["as_found"] or not best["as_left"] + best["set"]:
        chances = [_unpaired(item, own) for item, own in zip(roled, chances, strict=True)]
    places = {at for number in seen.numbers for at in number.place}
    settled = (_settled(item, own, named=_is_named(mentions, item), read=_reading(seen_.roles))
               for item, own, seen_ in zip(roled, chances, seen.numbers, strict=True))  # fmt: skip
    placed = [replace(_contested(mentions, _placed(item, places)), chances=_of_reading(item, own))
              for item, own in zip(settled, chances, strict=True)]  # fmt: skip
    lent = [_lent(item, own.units) for item, own in zip(placed, seen.numbers, strict=True)]
    return tuple(_fitted(item, own) for item, own in zip(lent, seen.numbers, strict=True))


def _fitted(item: RoledNumber, seen: NumberSeen) -> RoledNumber:
    """Without a unit that was said of another value, where the reader excludes all that it
    measures: "twenty eight volts at thirty six hundred"."""
    if item.unit is None or not item.carried or item.role not in MEASURING:
        return item
    served = {quantity for unit in item.unit.units for quantity in unit.quantities}
    if sum(seen.quantities.get(name, 0.0) for name in served) >= FITS_FROM:
        return item
    return replace(item, unit=None, carried=False, lent=False)


def _lent(item: RoledNumber, units: Mapping[Mention | None, float]) -> RoledNumber:
    """A bare value with the unit that was said of another: "left eight thou ... and the right six".
    Far off, not quite certain, or a small whole number, which may count something ("across all
    three"), it is asked about."""
    if item.unit is not None or item.role not in (*MEASURING, "meter"):
        return item
    unit = max(units, key=units.__getitem__)
    if unit is None or units[unit] < LENT or unit.name in NEVER_CARRIED:
        return item
    value = item.number.value
    small = value == value.to_integral_value() and abs(value) <= LARGEST_PLACE
    near_by = abs(item.first - unit.last) <= LENT_NEAR
    plain = units[unit] >= LENT_SURELY and near_by and not small
    doubt = item.doubt or (None if plain else OF_ANOTHER)
    because = f"{item.because}; unit of another value by the trained reader ({units[unit]:.0%})"
    if unit.name in PARTS and unit.first <= item.number.last <= unit.last:  # its own "tenths"
        number, doubt = counted(item.number, unit), item.doubt or OF_WHAT
        return replace(item, number=number, unit=unit, because=because, doubt=doubt)
    lent = borrowed(unit, item.number)
    return replace(item, unit=lent, because=because, doubt=doubt, carried=True, lent=True)


def _placed(item: RoledNumber, places: Set[int]) -> RoledNumber:
    """A number that the reader takes for a place is one only if it is the place of something."""
    if item.role != "position" or item.sure or item.number.last in places:
        return item
    if item.unit is not None and not item.carried and item.number.said != ONE:
        return replace(item, role="unknown", because="it has a unit, and may be of a place as well")
    return replace(item, role="count", because="most probable: a place, but of nothing measured")


def _unpaired(item: RoledNumber, chances: Mapping[str, float]) -> Mapping[str, float]:
    """Without the roles that need another value, unless a cue gave one of them."""
    if item.sure and item.role in PAIRED:
        return chances
    lost = sum(chances[role] for role in PAIRED)
    kept = chances["measured"] + chances["set"]
    grown = {role: chances[role] * (1 + lost / kept) for role in ("measured", "set")}
    return {**chances, **dict.fromkeys(PAIRED, 0.0), **grown}


def _is_cued(item: RoledNumber) -> bool:
    return item.sure and not item.weak and item.because != RANGE


def _weighed(item: RoledNumber, read: Mapping[str, float], favoured: float) -> dict[str, float]:
    """The probability of each role, after the reader and the rules."""
    both: dict[str, float] = {}
    for role, chance in read.items():
        name = ALIKE.get(role, role)
        favour = favoured if name == item.role else 1.0
        both[name] = both.get(name, 0.0) + chance * favour * (FOUND if name == "as_found" else 1.0)
    total = sum(both.values())
    return {role: chance / total for role, chance in both.items()}


def _is_named(mentions: Mentions, item: RoledNumber) -> bool:
    """ "belt deflection twelve millimetres", "battery 12.6 V": what is measured was said beside it,
    or the thing of which one measures just that."""
    if item.unit is None:
        return False
    close = near(mentions.of("quantity"), item.first, item.last)
    said = any(-BESIDE <= q.last - item.first < 0 or 0 < q.first - item.last <= BESIDE
               for q in close)  # fmt: skip
    things = [c for c in near(mentions.of("component"), item.first, item.first)
              if 0 < item.first - c.last <= JUST]  # fmt: skip
    habits = load().habits
    return said or any(
        (name, item.unit.name) in habits for c in things for name in (c.name, c.base)
    )


def _of_reading(item: RoledNumber, chances: Mapping[str, float]) -> dict[str, float]:
    """How probable each role of a reading is, if it is one; "set" without a word that says so
    counts little."""
    if item.role not in MEASURING:
        return {}
    own = {role: chances[role] for role in MEASURING}
    if not item.sure:
        own["set"] *= (1 - SET_FROM) / SET_FROM
    return own


def _reading(chances: Mapping[str, float]) -> float:
    return sum(chances[role] for role in MEASURING)


def _settled(
    item: RoledNumber, chances: Mapping[str, float], *, named: bool, read: float
) -> RoledNumber:
    """``read``: P(reading) by the reader alone."""
    if item.because == RANGE:
        return _of_range(item, chances, read)
    set_aside = not item.weak and _is_set_aside(item)
    if _is_fixed(item):
        return item
    aside = not set_aside and _reading(chances) < READ_DOUBTFULLY
    if aside and _is_exact(item) and max(chances, key=chances.__getitem__) not in SIZES:
        return _of_meter(item, chances["meter"])
    if _counts_hours(item) and (_is_long(item) or chances["meter"] >= METER_PERHAPS):
        return _of_meter(item, chances["meter"])
    if set_aside and read < _least_to_read(item):
        return item
    reading = read if set_aside else _reading(chances)
    enough = READ_FROM_PART if _is_part(item) else READ_FROM
    doubtful = READ_DOUBTFULLY <= reading < enough and item.number.said != ONE
    if doubtful and not set_aside and not named:
        return _undecided(item, reading)
    best = _best_role(item, chances, reading, read=reading >= enough)
    if best == "meter" and chances["meter"] >= METER_FROM:
        return _changed(item, best, chances[best])
    if best in NOT_READ or (named and best not in MEASURING and reading >= NAMED_LEAST):
        best = item.role
    if item.role == ARTICLE and best not in MEASURING:
        return item
    changed = _changed(item, best, chances[best])
    hinted = item.weak and item.role in QUOTED and reading < READ_OVER_CUE
    unsure = set_aside or hinted or reading < (NAMED_LEAST if named else ASK_BELOW)
    if best not in MEASURING or not unsure:
        return changed
    quoted = (hinted or _is_cued(item)) and item.role in QUOTED
    return _asked(changed, f"{item.because}, so {PERHAPS_NONE}" if quoted else PERHAPS_NONE)


def _is_exact(item: RoledNumber) -> bool:
    """ "eleven thousand four hundred and six": what a book or a plan says is a rounder figure."""
    value = item.number.value
    plain = item.number.form in ("integer", "typed") and item.whole is None
    far = item.unit is None or item.unit.name in DISTANCES
    return plain and far and value >= EXACT_FROM and value % ROUND != 0


def _counts_hours(item: RoledNumber) -> bool:
    """A stretch of time that may be the reading of an hour meter."""
    hours = item.unit is not None and item.unit.name in HOURS
    return hours and item.role == "time_or_date" and (_is_long(item) or not item.sure)


def _is_long(item: RoledNumber) -> bool:
    """In notes of train, dev and check 160 such hours are of the meter, 28 of something else."""
    return item.number.value >= LONG_HOURS


def _of_meter(item: RoledNumber, chance: float) -> RoledNumber:
    if chance >= METER_FROM:
        return _changed(item, "meter", chance)
    because = f"it may be the reading of the meter: {chance:.0%} by the trained reader"
    return replace(item, role="unknown", because=because)


def _is_set_aside(item: RoledNumber) -> bool:
    """Whether a rule says that a number is no reading."""
    return item.role in ASIDE_BY_RULE or (item.role not in MEASURING and item.sure)


def _least_to_read(item: RoledNumber) -> float:
    """P(reading) from which a number that the rules set aside is one all the same."""
    over_cue = item.role in QUOTED and (item.sure or item.role in ASIDE_BY_RULE)
    return READ_OVER_CUE if over_cue else READ_ANYWAY


def _is_part(item: RoledNumber) -> bool:
    return item.number.value != item.number.value.to_integral_value()


def _best_role(
    item: RoledNumber, chances: Mapping[str, float], reading: float, *, read: bool
) -> str:
    """The most probable role, of those of a reading if it is ``read``, else of the others."""
    kind = [role for role in chances if (role in MEASURING) == read]
    best = max(kind, key=chances.__getitem__)
    hardly_set = best == "set" and not item.sure and chances[best] < SET_FROM * reading
    return "measured" if hardly_set else best


def _of_range(item: RoledNumber, chances: Mapping[str, float], read: float) -> RoledNumber:
    """ "the rest eleven to thirteen ohms" may be what was read: the speaker is asked."""
    if read >= READ_DOUBTFULLY:
        return replace(item, role="unknown", because="a range: what was read, or a limit")
    aside = [role for role in chances if role not in (*MEASURING, *NOT_READ)]
    best = max(aside, key=chances.__getitem__)
    return _changed(item, "count" if best == "position" else best, chances[best])


def _is_fixed(item: RoledNumber) -> bool:
    """Whether the reader has no say: dates, sizes, tolerances, plans, ranges that a cue governs."""
    formed = item.whole is not None and item.role != "count"
    planned = item.sure and not item.weak and item.role in PLANNED
    by_form = item.number.form in FORMS and not (item.number.form == ROUGH and item.unit)
    return formed or planned or by_form or item.number.high is not None or item.role in NOT_READ


def _undecided(item: RoledNumber, reading: float) -> RoledNumber:
    """Neither read nor set aside: the speaker is asked."""
    because = f"it may be a reading: {reading:.0%} by the trained reader"
    return replace(item, role="unknown", because=because)


def _contested(mentions: Mentions, item: RoledNumber) -> RoledNumber:
    """ "voltage is eleven point eight bolt": a size by what follows, but what is measured was said
    just before. A unit that was misheard must not take a reading away: it is asked about."""
    if item.role != "part_size" or item.unit is not None or item.whole is not None:
        return item
    close = near(mentions.of("quantity"), item.first, item.first)
    if not any(0 < item.first - q.last <= JUST for q in close):
        return item
    return replace(item, role="unknown", because="what is measured was said, but a size follows")


def _asked(item: RoledNumber, why: str) -> RoledNumber:
    return replace(item, doubt=item.doubt or why)


def _changed(item: RoledNumber, role: str, chance: float) -> RoledNumber:
    if role == item.role:
        return item
    return replace(item, role=role, because=f"most probable by the trained reader ({chance:.0%})")
