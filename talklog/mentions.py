"""Step 3b: words -> mentions of units, components, places, quantities, actions and cues.

The only module that imports spaCy: its phrase matcher finds all phrases of the vocabulary in one
pass over the transcript's own words (its tokeniser is not used, so word indices stay true).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, Protocol, TypeVar

from talklog.nouns import singular
from talklog.numbers import NumberRun, find_numbers
from talklog.trades import phrases_of, recorded_name
from talklog.transcript import Transcript
from talklog.vocabulary import Vocabulary, load
from talklog.word_kinds import Cue, UnitWords

NO_NAME = ""  # name of a phrase in which a place or a unit is none: "all right", "all bar one"
NO_UNIT = UnitWords(NO_NAME, (), (), frozenset())
NO_THING = "no thing"  # kind of a phrase in which the word of a thing is none: "in the spring"
AS_SAID = ("cue", "position")  # also found where their words end in 's
DISCOURSE = ("right",)  # places that also begin a sentence
BREAK = 0.3  # seconds: a pause that parts two things
REACH = 40  # words: no cue and no neighbourhood is wider


@dataclass(frozen=True, slots=True)
class Mention:
    """A phrase at words ``first..last``. ``kind`` is unit, component, position, quantity, action,
    condition or state ("hot"); ``name`` its vocabulary name ("thou", "tyre"); several units may
    share words. ``base`` is the name of a compound's head: "stem bolt" is a "bolt"."""

    kind: str
    name: str
    first: int
    last: int
    units: tuple[UnitWords, ...] = ()
    base: str = ""


@dataclass(frozen=True, slots=True)
class CueMention:
    """A cue at words ``first..last``."""

    cue: Cue
    first: int
    last: int


@dataclass(frozen=True)
class Mentions:
    """Everything found, each list in the order of the words."""

    numbers: tuple[NumberRun, ...]
    spans: tuple[Mention, ...]
    cues: tuple[CueMention, ...]

    def of(self, kind: str) -> tuple[Mention, ...]:
        return self._by_kind.get(kind, ())

    def cues_of(self, *categories: str) -> tuple[CueMention, ...]:
        """The cues of some categories, in the order of the words."""
        if categories not in self._by_category:
            self._by_category[categories] = tuple(
                mention for mention in self.cues if mention.cue.category in categories
            )
        return self._by_category[categories]

    @cached_property
    def _by_kind(self) -> dict[str, tuple[Mention, ...]]:
        kinds: dict[str, list[Mention]] = {}
        for span in self.spans:
            kinds.setdefault(span.kind, []).append(span)
        return {kind: tuple(spans) for kind, spans in kinds.items()}

    @cached_property
    def _by_category(self) -> dict[tuple[str, ...], tuple[CueMention, ...]]:
        return {}


class _Placed(Protocol):
    @property
    def first(self) -> int: ...


class Span(_Placed, Protocol):
    """Something at words ``first..last``."""

    @property
    def last(self) -> int: ...


Placed = TypeVar("Placed", bound=_Placed)


def overlap(one: Span, other: Span) -> bool:
    """Whether they share a word."""
    return one.first <= other.last and other.first <= one.last


def near(items: Sequence[Placed], first: int, last: int) -> Sequence[Placed]:
    """Those of the items (in order of the words) that begin within REACH words of a span, so that
    the work for a long note grows with its length and not with its square."""
    low = bisect_left(items, first - REACH, key=lambda item: item.first)
    return items[low : bisect_right(items, last + REACH, key=lambda item: item.first)]


def find_mentions(transcript: Transcript) -> Mentions:
    """All numbers and phrases of a note. Overlapping phrases of one kind: the longest counts."""
    matcher, labels = _matcher()
    words = [word.text or " " for word in transcript.words]
    found = list(_matches(matcher, labels, [_plain(word) for word in words]))
    found += [match for match in _matches(matcher, labels, words) if match[0] in AS_SAID]
    spans = [
        _mention(kind, names, first, last) for kind, names, first, last in found if kind != "cue"
    ]
    spans = [span for span in spans if not _torn(span, transcript)]
    spans += _written_units(transcript)
    cues = dict.fromkeys(  # each once, those of one phrase as they stand in the file
        CueMention(cue, first, last)
        for kind, names, first, last in found
        if kind == "cue"
        for cue in names
    )
    kept = [s for s in _longest(spans) if s.name != NO_NAME or s.kind == "component"]
    kept = list(_without_phases(_without_discourse(kept)))
    kept = list(_as_recorded(kept, words))
    return Mentions(
        find_numbers(transcript.words),
        tuple(sorted(_compounds(kept, transcript), key=lambda s: (s.first, s.last))),
        tuple(_outermost(sorted(cues, key=_cue_order))),
    )


def _plain(word: str) -> str:
    """Without the 's of "the rim's worn" and "the rim's edge"."""
    return word[:-2] if word.endswith(("'s", "’s")) and len(word) > 2 else word


def _cue_order(mention: CueMention) -> tuple[int, int, str]:
    return mention.first, -mention.last, mention.cue.category


def _outermost(cues: Sequence[CueMention]) -> Iterator[CueMention]:
    """Without the cues that lie within a longer one ("not" in "not too bad"), and without pseudo
    cues, whose work is done then. ``cues`` are in order, longer ones first."""
    covered, start = -1, -1
    for mention in cues:
        if mention.last <= covered and (mention.first, mention.last) != (start, covered):
            continue
        if mention.last > covered:
            start, covered = mention.first, mention.last
        if mention.cue.category != "pseudo":
            yield mention


def _torn(span: Mention, transcript: Transcript) -> bool:
    """Whether the speaker paused within the name of a thing: "belt | tensioner" are two."""
    inside = transcript.words[span.first + 1 : span.last + 1]
    return span.kind == "component" and any(word.pause_before >= BREAK for word in inside)


def _written_units(transcript: Transcript) -> list[Mention]:
    """Symbols such as "A" or "Nm" right after digits. Only typed text has them, and their capital
    and small letters differ: a spoken "a" is never an ampere."""
    words = transcript.words
    found = []
    for at in range(1, len(words) if transcript.source.kind == "text" else 0):
        symbol = words[at].written or words[at].text
        units = tuple(unit for unit in load().units if symbol in unit.written)
        if units and any(letter.isdigit() for letter in words[at - 1].text):
            found.append(Mention("unit", units[0].name, at, at, units))
    return found


def _mention(kind: str, names: tuple[Any, ...], first: int, last: int) -> Mention:
    if kind == "unit":
        return Mention(kind, names[0].name, first, last, names)
    return Mention(kind, names[0], first, last, base=names[0])


@lru_cache(maxsize=1)
def _matcher() -> tuple[Any, dict[str, tuple[str, tuple[Any, ...]]]]:
    """One matcher for all phrases, and what each of its labels stands for."""
    import spacy
    from spacy.matcher import PhraseMatcher
    from spacy.tokens import Doc

    nlp = spacy.blank("en")
    matcher = PhraseMatcher(nlp.vocab, attr="LOWER")
    labels = {}
    for number, ((kind, phrase), names) in enumerate(_phrases(load()).items()):
        label = f"{kind}{number}"
        labels[label] = (kind, tuple(names))
        matcher.add(label, [Doc(nlp.vocab, words=list(phrase))])
    return (matcher, nlp.vocab), labels


def _phrases(vocabulary: Vocabulary) -> dict[tuple[str, tuple[str, ...]], list[Any]]:
    found: dict[tuple[str, tuple[str, ...]], list[Any]] = {}
    for unit in vocabulary.units:
        for phrase in unit.phrases:
            found.setdefault(("unit", phrase), []).append(unit)
    tables = {
        "component": vocabulary.components,
        "position": vocabulary.positions,
        "quantity": vocabulary.quantities,
        "action": vocabulary.actions,
        "condition": vocabulary.conditions,
    }
    for kind, table in tables.items():
        for name, phrases in table.items():
            for phrase in phrases:
                found.setdefault((kind, phrase), []).append(name)
    for phrase in vocabulary.measuring:
        found.setdefault(("state", phrase), []).append(" ".join(phrase))
    for phrase in vocabulary.not_places:
        found.setdefault(("position", phrase), []).append(NO_NAME)
    for phrase in vocabulary.not_units:
        found.setdefault(("unit", phrase), []).append(NO_UNIT)
    for phrase in vocabulary.not_things:
        found.setdefault(("component", phrase), []).append(NO_NAME)
    for cue in vocabulary.cues:
        found.setdefault(("cue", cue.phrase), []).append(cue)
    return found


def _matches(matcher: Any, labels: dict[str, Any], words: list[str]) -> Iterator[Any]:
    from spacy.tokens import Doc

    match, vocab = matcher
    for label, start, end in match(Doc(vocab, words=words)):
        kind, names = labels[vocab.strings[label]]
        yield kind, names, start, end - 1


def _longest(spans: list[Mention]) -> list[Mention]:
    """Drops a span that lies within, or crosses, a longer one of its kind. Of two places as long
    the later counts: in "right front left tyre" the right is no place."""
    taken: dict[str, set[int]] = {}
    kept = []
    for span in sorted(spans, key=_longer_first):
        words = set(range(span.first, span.last + 1))
        if not words & taken.setdefault(span.kind, set()):
            taken[span.kind] |= words
            kept.append(span)
    return sorted(kept, key=lambda s: (s.first, s.last))


def _longer_first(span: Mention) -> tuple[int, int]:
    return span.first - span.last, -span.first if span.kind == "position" else span.first


def _without_discourse(spans: Sequence[Mention]) -> Iterator[Mention]:
    """Without the "right" of "right front left tyre": before another place it only begins."""
    places = {span.first for span in spans if span.kind == "position"}
    for span in spans:
        if not (span.name in DISCOURSE and span.kind == "position" and span.last + 1 in places):
            yield span


def _without_phases(spans: Iterable[Mention]) -> Iterator[Mention]:
    """Without the v of "v to earth one fifty": a unit whose word begins a longer place is none."""
    spans = list(spans)
    places = {span.first: span.last for span in spans if span.kind == "position"}
    for span in spans:
        if span.kind != "unit" or places.get(span.first, -1) <= span.last:
            yield span


def _as_recorded(spans: Sequence[Mention], words: Sequence[str]) -> Iterator[Mention]:
    """Each thing under the name that the record gives it; its base is the vocabulary's."""
    note = phrases_of([_plain(word) for word in words])
    for span in spans:
        if span.kind == "component" and not span.base:
            yield replace(span, kind=NO_THING)
        elif span.kind == "component":
            said = [_plain(word) for word in words[span.first : span.last + 1]]
            yield replace(span, name=recorded_name(said, span.name, note))
        else:
            yield span


def _compounds(spans: list[Mention], transcript: Transcript) -> Iterator[Mention]:
    """Components side by side are one thing: "crank pulley" + "bolt" is a "crank pulley bolt"."""
    heads, words = load().heads, transcript.words
    held: Mention | None = None
    for span in spans:
        if span.kind != "component":
            yield span
            continue
        joins = held is not None and held.last + 1 == span.first and span.base in heads
        if joins and not words[span.first].pause_before and not _possessive(words[held.last].text):
            name = f"{_as_said(held, transcript)} {_as_said(span, transcript)}"
            held = Mention("component", name, held.first, span.last, (), span.base)
            continue
        if held is not None:
            yield held
        held = span
    if held is not None:
        yield held


def _as_said(thing: Mention, transcript: Transcript) -> str:
    """The name of a thing beside another word, where it may be another thing: the "pilot" of a
    "pilot filter" is no pilot valve."""
    said = [singular(word.text) for word in transcript.words[thing.first : thing.last + 1]]
    return thing.name if len(thing.name.split()) <= len(said) else " ".join(said)


def _possessive(word: str) -> bool:
    return word.endswith(("'s", "’s"))
