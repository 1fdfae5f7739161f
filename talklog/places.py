"""Step 4b: which way to read a run of number words. Places take their number first.

"cylinder two one fifty" is place 2 and 150; "one six two seven three and four both six" goes on
from "cylinder" or "number". Everything else is left to the order of ``find_numbers``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.numbers import SCALES, Number, NumberRun, find_numbers
from talklog.scopes import SHORT_PAUSE
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load

LARGEST_PLACE = 24  # cylinders, stations: a larger number is not a place
EVEN, UNEVEN = 2, 5  # largest by smallest value of a list of like values, and of one that is not
LEFT_OUT = 2  # places of a list that may be passed over
LONGEST_VALUE = 12  # words of one value
FEWEST = 3  # places that make a list without a place word
UNPARTED = 4  # the same, where neither a thing nor pauses speak for it
CHANGED = ("from", "all")  # words before two numbers with a "to" between that are no range
PAIR = 2
THOU, TENTH = "thou", "tenth"
# Units that are said as parts of a number, "two tenths", and how many of them make one.
PARTS = {THOU: 1000, TENTH: 10}
METRIC = ("mm", "um", "cm")  # of somebody who says them, "two tenths" is 0.2 mm
SAID_OF_IT = 3  # words from a place to its value, with "was at" between
SHORTEST_NAME = 3  # letters of a word that may be the name of a thing, and more
LIST_GAP = 9  # words between the last value of a list and the next place
LEADING = ("is", "was", "are", "at", "and", "s")  # "two is one forty"


@dataclass(frozen=True, slots=True)
class Chosen:
    """The numbers taken from a run; ``places`` are those that are places."""

    numbers: tuple[Number, ...]
    places: frozenset[int] = frozenset()  # word indices
    sure: bool = True  # False when the place could as well be the beginning of the value
    rivals: tuple[Number, ...] = ()  # the value, if its first word is a place after all
    settled: bool = False  # whether other readings of the words mean the same


@dataclass(frozen=True, slots=True)
class LastPlace:
    """The place said last, the last word of what was said of it, and whether that was a value."""

    number: int
    end: int
    valued: bool = True


def choose(
    transcript: Transcript, mentions: Mentions, run: NumberRun, before: LastPlace | None
) -> Chosen:
    """The most plausible reading of a run, with places where a word or a list asks for one."""
    words = transcript.words
    if ended := _before_its_unit(words, mentions, run):
        return Chosen(ended, settled=True)
    started = _place_word_before(words, mentions, run.first)
    if not started and (listed := _whole_list(words, mentions, run)):
        return listed
    expected = _expected(run, before)
    if started or expected:
        listed = _listed(words, run.first, run.last, expected=None if started else expected)
        sure = started and words[run.first - 1].text in load().numbered
        if _scale_after_place(words, run) or _is_of_unknown(words, mentions, run.first - 1):
            rivals = listed.numbers[1:2] if listed and sure else ()
            return Chosen(_plain_choice(words, mentions, run), rivals=rivals)
        if listed is not None and (sure or _goes_on(words, mentions, run, listed, started)):
            plain = sure and not _point_after_place(words, run)
            return replace(listed, sure=plain or len(listed.places) > 1)
        if listed is not None and started and _point_after_place(words, run):
            return Chosen(_plain_choice(words, mentions, run), rivals=listed.numbers[1:2])
    if run.alike and all(number.high is None for number in run.readings[0]):
        return Chosen(run.alike, settled=True)
    return Chosen(_plain_choice(words, mentions, run))


def _before_its_unit(
    words: Sequence[Word], mentions: Mentions, run: NumberRun
) -> tuple[Number, ...] | None:
    """ "three thousandths" is 3 thou where 0.003 of nothing could be read too, "four tenths of a
    thou" 4 tenths; "one and a half tenths of a mil" is 0.15 of one."""
    for unit in near(mentions.of("unit"), run.last, run.last):
        alone = [reading[0] for reading in run.readings if len(reading) == 1]
        of_more = [word.text for word in words[unit.last + 1 : unit.last + 2]] == ["of"]
        written = _is_written(mentions, unit) and not (of_more or _goes_with(words, mentions, run))
        if written and run.first < unit.first <= run.last <= unit.last:
            whole = next((n for n in alone if n.last == unit.first - 1), None)
            part = next((n for n in alone if n.form == "fraction" and n.last == run.last), None)
            return (whole,) if whole else (counted(part, unit),) if part else None
        mixed = alone[:1] if unit.name == TENTH and of_more and unit.first == run.last + 1 else []
        if mixed and mixed[0].form == "mixed":
            return (_divided(mixed[0], unit),)
    return None


def _is_written(mentions: Mentions, unit: Mention) -> bool:
    """Whether the part of a thing that a word says is a unit here: "tenths" are tenths of a thou
    where the speaker says "thou", and tenths of anything elsewhere."""
    if unit.name != TENTH or unit.first < unit.last:
        return unit.name in PARTS
    said = {other.name for other in mentions.of("unit")}
    return THOU in said and said.isdisjoint(METRIC)


def _goes_with(words: Sequence[Word], mentions: Mentions, run: NumberRun) -> bool:
    """ "a thou and two tenths": 1.2 of the unit before."""
    units = near(mentions.of("unit"), run.first, run.first)
    joined = run.first > 1 and words[run.first - 1].text == "and"
    return joined and any(unit.last == run.first - 2 for unit in units)


def counted(part: Number, unit: Mention) -> Number:
    """0.128, of which the last words are the unit -> 128."""
    value = part.value * PARTS[unit.name]
    said = f"{value.normalize():f}"
    return replace(part, last=unit.first - 1, value=Decimal(said), said=said, form="integer")


def _divided(number: Number, unit: Mention) -> Number:
    """1.5, with "tenths" behind it -> 0.15."""
    value = number.value / PARTS[unit.name]
    said = f"{value.normalize():f}"
    return replace(number, last=unit.last, value=Decimal(said), said=said, form="fraction")


def _point_after_place(words: Sequence[Word], run: NumberRun) -> bool:
    """ "injector one point two" may be 1.2, or 0.2 at injector one: only the speaker knows."""
    return run.last > run.first and words[run.first + 1].text == "point"


def _scale_after_place(words: Sequence[Word], run: NumberRun) -> bool:
    """ "at the plug three hundred" names no place; "cylinder one hundred and forty" may."""
    return run.last > run.first and words[run.first + 1].text in SCALES


def _place_word_before(words: Sequence[Word], mentions: Mentions, at: int) -> bool:
    """ "cylinder", "number", or a thing of which there are several: "injector"; not "all six
    cylinders", whose number is no place."""
    if _is_of_many(words, at - 1) or _is_placed(words, mentions, at - 1):
        return False
    if at and words[at - 1].text in load().numbered:
        return True
    numbered = load().numbered_components
    found = near(mentions.of("component"), at, at)
    measured = {q.last for q in near(mentions.of("quantity"), at, at)}  # "idle speed eight fifty"
    return any(c.last == at - 1 and c.name in numbered and c.last not in measured for c in found)


def _is_placed(words: Sequence[Word], mentions: Mentions, noun: int) -> bool:
    """Whether a thing has its place or a name already: "number one cylinder one eighty", "left
    cylinder", "wheel cylinder"; the number behind it is a value then."""
    if noun < 1 or words[noun].text not in load().numbered - load().counted_before:
        return False
    close = near(mentions.of("position"), noun, noun)
    named = [c for c in near(mentions.of("component"), noun, noun) if c.first < noun == c.last]
    numbers = near(mentions.numbers, noun, noun)
    placed = any(place.last == noun - 1 for place in close)
    known = any(c.name not in load().numbered_components for c in named)
    counted = any(
        run.last == noun - 1 and run.first and words[run.first - 1].text in load().counted_before
        for run in numbers
    )
    return placed or known or counted


def _is_of_unknown(words: Sequence[Word], mentions: Mentions, noun: int) -> bool:
    """Whether a word that is no known name stands before one such as "cylinder": "tilt cylinder
    one sixty", "lift cylinder one sixty" may be 160 of such a cylinder."""
    if noun < 1 or words[noun].text not in load().numbered - load().counted_before:
        return False
    before, small = words[noun - 1].text, load().small_words
    spans = (*near(mentions.spans, noun, noun), *near(mentions.cues, noun, noun))
    known = any(span.first <= noun - 1 <= span.last for span in spans if not _is_verb(span, before))
    known = known or any(n.first < noun <= n.last + 1 for n in near(mentions.numbers, noun, noun))
    plain = before in small["before_names"] | small["never_last"] | small["particles"]
    paused = words[noun].pause_before >= SHORT_PAUSE
    return not (known or plain or paused) and len(before) > SHORTEST_NAME


def _is_verb(span: Mention | CueMention, word: str) -> bool:
    """The base form of work, which may be part of a name; not "check cylinder two"."""
    work = isinstance(span, Mention) and span.kind == "action" and span.name == word
    return work and word not in load().checking


def _is_of_many(words: Sequence[Word], noun: int) -> bool:
    """ "all cylinders", "all six cylinders", "both pots": what follows is said of them together."""
    return any(
        word.text in load().small_words["together"] for word in words[max(0, noun - 2) : noun]
    )


def _whole_list(words: Sequence[Word], mentions: Mentions, run: NumberRun) -> Chosen | None:
    """ "tappets cold one eighteen two fifteen three fourteen": places from one on, each with its
    value, near a thing of which there are several, or told apart by pauses or by their number.
    Behind a pause, a list may begin within the run: "at eighty, one seventy four, two sixty"."""
    for start in range(run.first, run.last):
        parted = start == run.first or words[start].pause_before >= SHORT_PAUSE
        if not parted or words[start].text not in ("one", "1"):
            continue
        head = () if start == run.first else (_single(words, run.first, start - 1),)
        listed = _listed(words, start, run.last, expected=None)
        if None not in head and listed is not None and _is_list(words, mentions, run, listed):
            return replace(listed, numbers=(*head, *listed.numbers))
    return None


def _is_list(words: Sequence[Word], mentions: Mentions, run: NumberRun, listed: Chosen) -> bool:
    """Whether each place has its value, and enough speaks for a list."""
    values, places = listed.numbers[1::2], listed.numbers[::2]
    if {place.first for place in places} != listed.places or len(values) != len(places):
        return False
    enough = len(places) >= FEWEST or _goes_on_behind(words, mentions, run, listed)
    parted = all(words[place.first].pause_before >= SHORT_PAUSE for place in places[1:])
    like = _spread(values) < EVEN and places[-1].value == len(places)
    told = like and (parted or len(places) >= UNPARTED)
    return enough and (told or _is_near_numbered(mentions, places[0].first))


def _is_near_numbered(mentions: Mentions, first: int) -> bool:
    """Whether a thing of which there are several was named just before."""
    close = near(mentions.of("component"), first, first)
    things = [c for c in close if 0 < first - c.last <= LIST_GAP]
    return any({c.name, c.base} & load().numbered_components for c in things)


def _goes_on_behind(
    words: Sequence[Word], mentions: Mentions, run: NumberRun, listed: Chosen
) -> bool:
    """Whether a list of one place goes on behind the unit of its value: "one twenty two thou, two
    thirty, three twenty four"."""
    units = [u for u in near(mentions.of("unit"), run.last, run.last) if u.first == run.last + 1]
    starts = [unit.last + 1 for unit in units]
    following = [n for n in near(mentions.numbers, run.last, run.last) if n.first in starts]
    if len(listed.places) > 1 or not following:
        return False
    more = _listed(words, following[0].first, following[0].last, expected=2)
    parted = words[following[0].first].pause_before >= SHORT_PAUSE
    return parted and more is not None and len(more.numbers) == 2 * len(more.places) >= 2 * PAIR


def _expected(run: NumberRun, before: LastPlace | None) -> int | None:
    if before is None or not 0 < run.first - before.end <= LIST_GAP:
        return None
    if not before.valued and run.first - before.end <= SAID_OF_IT:
        return None  # "two at three ninety": what follows is its value
    return before.number + 1


def _goes_on(
    words: Sequence[Word], mentions: Mentions, run: NumberRun, listed: Chosen, started: bool
) -> bool:
    """Whether a run without a place word goes on with a list, or is the place of a thing: a place
    and its value, or a place with a verb behind it. A number with a unit is a value."""
    if len(listed.numbers) > len(listed.places):
        return not _point_after_place(words, run) or len(listed.places) > 1
    following = words[run.last + 1].text if run.last + 1 < len(words) else ""
    units = near(mentions.of("unit"), run.last + 1, run.last + 1)
    measured = any(unit.first == run.last + 1 for unit in units)
    return following in LEADING or (started and not measured)


def _plain_choice(words: Sequence[Word], mentions: Mentions, run: NumberRun) -> tuple[Number, ...]:
    """The usual reading; a reading that begins right after a correction; "twelve five" as one
    number whose point was not said, which stays in doubt; and the two values of "from thirty to
    forty", or "all four to thirty", which are no range."""
    corrected = any(
        cue.last + 1 == run.first
        for cue in near(mentions.cues_of("superseded"), run.first, run.first)
    )
    if corrected:
        return next((r for r in run.readings if r and r[0].first == run.first), run.readings[0])
    usual = _even(run) or run.readings[0]
    if usual[0].high is not None and run.first and words[run.first - 1].text in CHANGED:
        ends = [r for r in run.readings if len(r) == len(usual) + 1 and r[0].high is None]
        return ends[0] if ends else usual
    if len(usual) == PAIR:
        whole = [r for r in run.readings if len(r) == 1 and r[0].form == "implied"]
        return whole[0] if whole and whole[0][0].first == run.first else usual
    return usual


def _even(run: NumberRun) -> tuple[Number, ...] | None:
    """A list of like values read as such: "one fifteen ninety eight" is 115, 98 rather than 1598
    when the usual reading has values of very different size."""
    if _spread(run.readings[0]) < UNEVEN or len(run.readings[0]) < 3:
        return None
    whole = [r for r in run.readings if len(r) > 1 and _spread(r) < EVEN and _complete(run, r)]
    return whole[0] if whole else None


def _spread(reading: Sequence[Number]) -> Decimal:
    values = [abs(number.value) or Decimal(1) for number in reading]
    return max(values) / min(values)


def _complete(run: NumberRun, reading: tuple[Number, ...]) -> bool:
    words = sum(number.last - number.first + 1 for number in reading)
    return words >= run.last - run.first + 1


# ---- lists of places -----------------------------------------------------------------------------


def _listed(words: Sequence[Word], first: int, last: int, *, expected: int | None) -> Chosen | None:
    """The run as places with their values, or ``None``. ``expected`` is the next place of a list;
    a few may be left out ("one is fine, four a hundred and forty")."""
    return _ListReader(words, last).read(first, expected)


class _ListReader:
    """Reads places and values from a word on to the end of a run. What was tried is remembered,
    so that the work grows with the length of the run."""

    def __init__(self, words: Sequence[Word], last: int) -> None:
        self.words, self.last = words, last
        self.known: dict[tuple[int, int | None], Chosen | None] = {}

    def read(self, at: int, expected: int | None) -> Chosen | None:
        if (at, expected) not in self.known:
            self.known[at, expected] = self._read(at, expected)
        return self.known[at, expected]

    def _read(self, at: int, expected: int | None) -> Chosen | None:
        place = _place_at(self.words, at) if at <= self.last else None
        if place is None or (expected and not expected <= place.value <= expected + LEFT_OUT):
            return None
        goes_on = at < self.last and self.words[at + 1].text not in SCALES
        if goes_on and self._joined(at, following=0):
            return None  # "cylinder twenty two millimetres of scoring"
        rest = self._after(place)
        if rest is None:
            return None
        return Chosen((place, *rest.numbers), rest.places | {place.first})

    def _after(self, place: Number) -> Chosen | None:
        """The value of a place and what follows; no value for "three and four both six"."""
        at, following = place.last + 1, int(place.value) + 1
        if at > self.last:
            return Chosen(())
        if self.words[at].text == "and" and (rest := self.read(at + 1, following)):
            return rest
        ways = list(self._ways(at, following))
        if ways:
            return min(ways, key=self._oddness)
        short = self.last - at <= LONGEST_VALUE
        value = _single(self.words, at, self.last) if short else None
        return Chosen((value,)) if value else None

    def _ways(self, at: int, following: int) -> Iterator[Chosen]:
        """The values that may begin at a word, each with what is listed behind it."""
        for end in range(at, min(self.last, at + LONGEST_VALUE)):
            if self._joined(end, following):
                continue
            value = _single(self.words, at, end)
            start = end + 1 + (self.words[end + 1].text == "and")
            rest = self.read(start, following) if value else None
            if value is not None and rest is not None and len(rest.numbers) > 1:
                yield Chosen((value, *rest.numbers), rest.places)

    def _oddness(self, way: Chosen) -> tuple[int, int, Decimal]:
        """Pauses within values, places left out, and how unlike the values are."""
        places = [int(number.value) for number in way.numbers if number.first in way.places]
        values = [number for number in way.numbers if number.first not in way.places]
        inside = (at for value in values for at in range(value.first + 1, value.last + 1))
        broken = sum(self.words[at].pause_before >= SHORT_PAUSE for at in inside)
        return broken, max(places) - len(places), _spread(values)

    def _joined(self, end: int, following: int) -> bool:
        """Whether a number goes on over a word's end: "forty" | "five", with no pause between;
        the very place that is next may begin there all the same: "one sixty two seventy"."""
        place = _place_at(self.words, end + 1)
        expected = place is not None and place.value == following
        if expected or self.words[end + 1].pause_before >= SHORT_PAUSE:
            return False
        both = _single(self.words, end, end + 1)
        return both is not None and both.form == "integer"


def _place_at(words: Sequence[Word], at: int) -> Number | None:
    number = _single(words, at, at)
    if number is None or number.form not in ("integer", "typed", "digits"):
        return None
    whole = number.value == number.value.to_integral_value()
    return number if whole and 0 < number.value <= LARGEST_PLACE and number.high is None else None


def _single(words: Sequence[Word], first: int, last: int) -> Number | None:
    """The words ``first..last`` as exactly one number, or ``None``."""
    alone = [replace(words[first], pause_before=0.0), *words[first + 1 : last + 1]]
    runs = find_numbers(alone)
    if len(runs) != 1 or not runs[0].readings or len(runs[0].readings[0]) != 1:
        return None
    (number,) = runs[0].readings[0]
    if (number.first, number.last) != (0, last - first):
        return None
    return replace(number, first=first, last=last)
