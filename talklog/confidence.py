"""Step 5c: how sure a reading was heard -> a calibrated confidence, and alternatives to ask about.

Looks at the recogniser's confidences of the words of a number and its unit, and at what was heard
when those seconds were heard again (see ``rehearing``). Weights and threshold stand in
``data/doubt.json``; ``models.evaluation.fit_doubt`` makes them. No value is ever changed.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError
from talklog.notes import Alternative, Notes, Reading
from talklog.numbers import Number, find_numbers
from talklog.soundalikes import has_soundalike, homophone, other_numbers
from talklog.transcript import SECOND, Rehearing, Transcript, Way, Word
from talklog.vocabulary import load

LEAST = 0.02  # a share under which another way of hearing is not worth showing
MOST = 3  # alternatives shown
STRANGE_UNITS = frozenset({"thou"})  # the second listener takes this word for "hour" or "out"
OVERLAP = 0.03  # seconds that a number heard again must share with the first; one frame
AFTER = 3  # words behind a number in which its unit is looked for
# Log odds by which a second listener makes a reading surer or less sure, from how often it agrees
# with right (148 of 192) and with wrong (3 of 11) values of the development sets at 5 dB.
AGREES, DIFFERS = 1.0, -2.0
# Shares are kept this far from 0 and 1: above it the recogniser's own confidence says nothing more.
NEAREST = 0.02
WORDS_ONLY = 4  # so many of the features need no second hearing
FEATURES = ("number", "unit", "around", "alike", "agree", "least", "contested")

Alternatives = tuple[Alternative, ...]


@dataclass(frozen=True, slots=True)
class Judge:
    """Weights of a logistic model by feature. ``ask`` is the confidence below which a reading is
    asked about; ``ask_outside`` the same for one out of band that sounds like one in band."""

    ask: float
    ask_outside: float
    weights: dict[str, float]


@dataclass(frozen=True, slots=True)
class Spoken:
    """A number with its unit as it stands in the words: inclusive word indices."""

    first: int
    last: int
    unit: tuple[int, int] | None
    value: str


def with_confidence(notes: Notes, transcript: Transcript) -> Notes:
    """The notes with a confidence for every heard reading; those below the threshold in doubt.

    Readings of typed text stay as they are. Raises DataFileError for broken weights.
    """
    readings = tuple(_judged(reading, transcript) for reading in notes.readings)
    return replace(notes, readings=readings)


def _judged(reading: Reading, transcript: Transcript) -> Reading:
    if transcript.words[reading.first].confidence is None:
        return reading
    spoken = spoken_in(reading, transcript)
    if spoken is None or transcript.words[spoken.first].confidence is None:
        return reading
    found = features(spoken, transcript)
    judge = judges()[_kind(found)]
    opinion = second_opinion(spoken, transcript)
    sure = confidence(found, judge, shift=_shift(opinion))
    others = _alternatives(reading, spoken, transcript)
    if opinion not in (None, SAME):
        return _disputed(reading, sure, opinion, others)
    outside = sure < judge.ask_outside
    judged = replace(reading, confidence=round(sure, 4), sounds_like=others if outside else ())
    if sure >= judge.ask or reading.doubt:
        return judged
    known = {(a.value, a.unit) for a in reading.alternatives}
    more = tuple(a for a in others if (a.value, a.unit) not in known)
    return replace(
        judged, doubt=_why(spoken, transcript), alternatives=(*reading.alternatives, *more)
    )


def _why(spoken: Spoken, transcript: Transcript) -> str:
    last = spoken.unit[1] if spoken.unit else spoken.last
    return f'"{transcript.heard(spoken.first, last)}" was not heard clearly'


def spoken_in(reading: Reading, transcript: Transcript) -> Spoken | None:
    """Where the number of a reading stands, and its unit if it was said with it."""
    runs = find_numbers(transcript.words[reading.first : reading.last + 1])
    for run in runs:
        for number in (number for way in run.readings for number in way):
            if number.value == reading.value:
                first, last = number.first + reading.first, number.last + reading.first
                unit = (last + 1, reading.last) if reading.last > last else None
                return Spoken(first, last, unit, _plain(number))
    return None


def _plain(number: Number) -> str:
    return f"{number.value.normalize():f}"


# ---- features ------------------------------------------------------------------------------------


def confidence(found: dict[str, float], judge: Judge, *, shift: float = 0.0) -> float:
    """Probability that a reading with these features is right; ``shift`` is added to its log odds
    for what else is known."""
    known = found | {"constant": 1.0}
    score = shift + sum(weight * known[name] for name, weight in judge.weights.items())
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, score))))


def _kind(found: dict[str, float]) -> str:
    return "again" if "agree" in found else "without"


def features(spoken: Spoken, transcript: Transcript) -> dict[str, float]:
    """Numbers by FEATURES, those from ``agree`` on only where the seconds were heard again.

    number, unit, around: log odds of the least sure word of the number, of its unit, and of the
    words beside both; alike: how many words sound like others; agree, least: log odds of the mean
    and of the least share, over the hearings, of ways with the same value and unit; contested: 1
    where the mean share of another value is greater.
    """
    words = transcript.words
    end = spoken.unit[1] if spoken.unit else spoken.last
    beside = [*words[max(0, spoken.first - 1) : spoken.first], *words[end + 1 : end + 2]]
    number = words[spoken.first : spoken.last + 1]
    unit = words[spoken.unit[0] : spoken.unit[1] + 1] if spoken.unit else ()
    found = {
        "number": min(map(_odds, number)),
        "unit": min(map(_odds, unit), default=_log_odds(1.0)),
        "around": min(map(_odds, beside), default=_log_odds(1.0)),
        "alike": float(sum(has_soundalike(word.text) for word in number)),
    }
    return found | _from_again(spoken, transcript)


def _from_again(spoken: Spoken, transcript: Transcript) -> dict[str, float]:
    tables = list(_tables(spoken, transcript))
    if not tables:
        return {}
    same = [table.get(SAME, 0.0) for table in tables]
    agree = sum(same) / len(same)
    rivals = _mean_shares(tables)
    return {
        "agree": _log_odds(agree),
        "least": _log_odds(min(same)),
        "contested": float(max(rivals.values(), default=0.0) > agree),
    }


def _mean_shares(tables: Sequence[dict[Key, float]]) -> dict[Key, float]:
    """The mean share of everything but SAME."""
    shares: dict[Key, float] = defaultdict(float)
    for table in tables:
        for key, share in table.items():
            if key != SAME:
                shares[key] += share / len(tables)
    return shares


def _odds(word: Word) -> float:
    return _log_odds(1.0 if word.confidence is None else word.confidence)


def _log_odds(share: float) -> float:
    kept = min(max(share, NEAREST), 1 - NEAREST)
    return math.log(kept / (1 - kept))


# ---- what was heard again ------------------------------------------------------------------------

SAME = "same"
Key = tuple[str, frozenset[str]] | str | None  # value and units; SAME; None: no number there


def _tables(spoken: Spoken, transcript: Transcript) -> Iterator[dict[Key, float]]:
    """For each hearing of these seconds, the shares of what it made of them."""
    start = transcript.words[spoken.first].start
    end = transcript.words[spoken.last].end
    units = _units_of([word.text for word in _unit_words(spoken, transcript)])
    for hearing in _covering(spoken, transcript, second=False):
        yield _table(hearing, (start, end), spoken.value, units)


def _covering(spoken: Spoken, transcript: Transcript, *, second: bool) -> Iterator[Rehearing]:
    start, end = transcript.words[spoken.first].start, transcript.words[spoken.last].end
    for hearing in transcript.again:
        if (hearing.how == SECOND) == second and hearing.start <= start and end <= hearing.end:
            yield hearing


def _unit_words(spoken: Spoken, transcript: Transcript) -> Sequence[Word]:
    return transcript.words[spoken.unit[0] : spoken.unit[1] + 1] if spoken.unit else ()


def _table(
    hearing: Rehearing, times: tuple[float, float], value: str, units: frozenset[str]
) -> dict[Key, float]:
    table: dict[Key, float] = defaultdict(float)
    for way in hearing.ways:
        keys = list(_numbers_at(way, times))
        same = any(value in values and (not units or units & named) for values, named in keys)
        if same:
            table[SAME] += way.share
        else:
            table[(keys[0][0][0], keys[0][1]) if keys else None] += way.share
    return table


def _numbers_at(
    way: Way, times: tuple[float, float]
) -> Iterator[tuple[tuple[str, ...], frozenset[str]]]:
    """Numbers of a way that overlap these times: all values of the words, and their units."""
    texts = [text for text, _, _ in way.words]
    words = [
        Word(_number_word(texts, at), start, end) for at, (_, start, end) in enumerate(way.words)
    ]
    for run in find_numbers(words):
        for number in run.readings[0]:
            begun, ended = words[number.first].start, words[number.last].end
            if min(ended, times[1]) - max(begun, times[0]) >= OVERLAP:
                values = (_plain(number), *_others(run.readings[1:], number))
                after = [word.text for word in words[number.last + 1 : number.last + 1 + AFTER]]
                yield values, _units_of(after)


def _number_word(texts: Sequence[str], at: int) -> str:
    """ "to thou" is "two thou": what sounds like a number is one before a unit."""
    number = homophone(texts[at])
    return number if _units_of(texts[at + 1 : at + 1 + AFTER]) else texts[at]


def _others(readings: Sequence[Sequence[Number]], number: Number) -> Iterator[str]:
    for way in readings:
        for other in way:
            if other.first <= number.last and number.first <= other.last:
                yield _plain(other)


def _units_of(words: Sequence[str]) -> frozenset[str]:
    """Names of the units that the words begin with, or a word later ("half a millimetre")."""
    for begin in (0, 1) if words[:1] in (["a"], ["an"], ["of"]) else (0,):
        for length in range(len(words), begin, -1):
            named = _phrases().get(tuple(words[begin:length]))
            if named:
                return named
    return frozenset()


@lru_cache(maxsize=1)
def _phrases() -> dict[tuple[str, ...], frozenset[str]]:
    found: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for unit in load().units:
        for phrase in (*unit.phrases, *((s.lower(),) for s in unit.written if len(s) > 1)):
            found[phrase].add(unit.name)
    return {phrase: frozenset(names) for phrase, names in found.items()}


# ---- a second listener ---------------------------------------------------------------------------


def second_opinion(spoken: Spoken, transcript: Transcript) -> Key:
    """SAME when a second listener heard this value, in this unit if in any; else the value that it
    heard in this unit; ``None`` when there is no such listener, or no such number.

    Its words have no times of their own, so every number of the stretch counts.
    """
    units = _units_of([word.text for word in _unit_words(spoken, transcript)])
    for hearing in _covering(spoken, transcript, second=True):
        found = list(_numbers_at(hearing.ways[0], (hearing.start, hearing.end)))
        same = [named for values, named in found if spoken.value in values]
        spoken_units = [named for named in same if named]
        fits = not units or not spoken_units or any(units & n for n in spoken_units)
        if same and (fits or units & STRANGE_UNITS):
            return SAME
        if same:
            return spoken.value, spoken_units[0]
        rivals = [(values[0], named) for values, named in found if units & named]
        return rivals[0] if rivals else None
    return None


def _shift(opinion: Key) -> float:
    if opinion is None:
        return 0.0
    return AGREES if opinion == SAME else DIFFERS


def _disputed(
    reading: Reading, sure: float, opinion: tuple[str, frozenset[str]], others: Alternatives
) -> Reading:
    """Both are shown, and what the first one gave is kept as the value."""
    value, units = opinion
    unit = reading.unit if not units or reading.unit in units else min(units)
    other = Alternative(Decimal(value), value, unit, "heard so by the second listener")
    doubt = reading.doubt or f"the second listener heard {value} {unit or ''}".rstrip()
    known = tuple(a for a in others if (a.value, a.unit) != (other.value, unit))
    alternatives = (*reading.alternatives, other, *known)[: MOST + len(reading.alternatives)]
    return replace(
        reading, doubt=doubt, alternatives=alternatives, confidence=round(sure, 4),
        sounds_like=(other, *known),
    )  # fmt: skip


# ---- alternatives --------------------------------------------------------------------------------


def _alternatives(reading: Reading, spoken: Spoken, transcript: Transcript) -> Alternatives:
    """What it may have been instead: first what was heard again, then what sounds alike."""
    found: dict[tuple[str, str | None], Alternative] = {}
    for (value, units), share in _heard_otherwise(spoken, transcript):
        unit = reading.unit if not units or reading.unit in units else min(units)
        if share >= LEAST and (Decimal(value), unit) != (reading.value, reading.unit):
            why = f"heard so in {share:.0%} of second hearings"
            found.setdefault((value, unit), Alternative(Decimal(value), value, unit, why))
    for number in other_numbers(transcript.words[spoken.first : spoken.last + 1]):
        alike = Alternative(number.value, number.said, reading.unit, "sounds alike")
        found.setdefault((_plain(number), reading.unit), alike)
    return tuple(found.values())[:MOST]


def _heard_otherwise(
    spoken: Spoken, transcript: Transcript
) -> list[tuple[tuple[str, frozenset[str]], float]]:
    """Other values with their units, and their mean share of the hearings, greatest first."""
    shares = _mean_shares(list(_tables(spoken, transcript)))
    found = [(key, share) for key, share in shares.items() if isinstance(key, tuple)]
    return sorted(found, key=lambda item: (-item[1], item[0][0]))


# ---- weights -------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def judges() -> dict[str, Judge]:
    """The weights that come with talklog: "again", and "without" where nothing was heard again."""
    return parse_judges((files("talklog") / "data" / "doubt.json").read_text("utf-8"))


def parse_judges(text: str) -> dict[str, Judge]:
    """Raises DataFileError when a key is missing or unknown, or a value is no number."""
    try:
        data = json.loads(text)
        return {name: _judge(name, data.pop(name), data) for name in ("without", "again")}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DataFileError(
            f"doubt.json: is broken ({error}); make it again with models.evaluation.fit_doubt"
        ) from None


def _judge(name: str, data: dict[str, Any], left: dict[str, Any]) -> Judge:
    weights = {key: float(value) for key, value in data["weights"].items()}
    wanted = {"constant", *(FEATURES if name == "again" else FEATURES[:WORDS_ONLY])}
    if wrong := set(weights) ^ wanted or set(data) ^ {"ask", "ask_outside", "weights"}:
        raise ValueError(f"{name}: {', '.join(sorted(wrong))} is missing or unknown")
    if extra := set(left) - {"again", "without"}:
        raise ValueError(f"unknown key {', '.join(sorted(extra))}")
    return Judge(float(data["ask"]), float(data["ask_outside"]), weights)
