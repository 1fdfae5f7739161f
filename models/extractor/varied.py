"""Variants of hand-written notes for training: other things, mirrored places, two notes in one.

Where a number belongs is said by the structure of a sentence, so it must stay right when "impeller"
becomes "chain tensioner" and left becomes right, and when a recogniser drops an article or writes
"chargers" for "charger's". Only training sees variants; no figure is measured on them.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from models.extractor.gold import component_names
from models.extractor.passages import LISTS, SECONDS, Item, Passage
from talklog.nouns import singular
from talklog.vocabulary import load

MIRRORED = (
    ("front", "rear"), ("left", "right"), ("nearside", "offside"), ("inner", "outer"),
    ("top", "bottom"), ("inlet", "exhaust"), ("upper", "lower"), ("inside", "outside"),
)  # fmt: skip
FILLERS = ("um", "er", "uh", "right", "so", "okay", "and", "well")
RENAMED, MIRROR, FILLED = 0.6, 0.4, 0.02  # shares of names, pairs of places, words
PAUSED = 0.6  # share of notes, of those with pauses, that keep them
LOST, MOVED = 0.1, 0.15  # shares of pauses that are not heard, or heard longer or shorter
LASTS = {SECONDS["short"]: (0.22, 0.75), SECONDS["long"]: (0.8, 1.5)}  # seconds
HEARD = 0.4  # share of variants that are written as a recogniser might hear them
DROPPED, CONFUSED = 0.04, 0.08  # shares, in these, of short words that are lost or taken for others
RESPELT = 0.3  # share of "'s" written as "s" or "is"
SOUND_ALIKE = (
    ("a", "the", "of"), ("it", "at", "that"), ("in", "and", "an"), ("is", "as", "was"),
    ("there", "they're", "their"), ("then", "than", "and"), ("to", "the"), ("from", "for"),
    ("we'd", "would"), ("i've", "of"), ("here", "he"), ("so", "still"), ("now", "and"), ("i", "a"),
)  # fmt: skip
WITH_IS = ("it", "that", "he", "she", "there", "what", "here", "who")  # "thats" is no word
JOINED, CUT = 0.2, 0.4  # shares of notes that go on with another, and of which a part is left
LEFT, RIGHT = 10, 8  # words kept before and behind at most
CUED = 5  # words before a number that was set aside that must be left, for they may say why
NAMES = ("component", "name")
Words = tuple[str, ...]


def variants(passages: Sequence[Passage], *, copies: int, seed: int) -> Iterator[Passage]:
    """``copies`` variants of each passage."""
    draw = random.Random(seed)
    names = sorted({*component_names(passages), *_known_names()})
    for _ in range(copies):
        for passage in passages:
            varied, kind = _varied(passage, names, draw), draw.random()
            if kind < JOINED:
                varied = _joined(varied, _varied(draw.choice(passages), names, draw))
            elif kind < JOINED + CUT:
                varied = _cut(varied, draw)
            yield _breathed(varied, draw)


def _breathed(passage: Passage, draw: random.Random) -> Passage:
    """With pauses as a recogniser might hear them, or none at all."""
    if draw.random() > PAUSED:
        return replace(passage, pauses=())
    return replace(passage, pauses=tuple(_heard(silence, draw) for silence in passage.pauses))


def _heard(silence: float, draw: random.Random) -> float:
    if not silence or draw.random() < LOST:
        return 0.0
    kind = draw.choice(list(LASTS)) if draw.random() < MOVED else silence
    return round(draw.uniform(*LASTS[kind]), 2)


def _known_names() -> Iterator[Words]:
    return (tuple(name.split()) for name in load().components)


def _varied(passage: Passage, names: Sequence[Words], draw: random.Random) -> Passage:
    own = [name for name in component_names([passage]) if name]
    given = {name: draw.choice(names) for name in own if draw.random() < RENAMED}
    if draw.random() < HEARD:
        passage = misheard(passage, draw)
    swaps = {word: other for pair in MIRRORED if draw.random() < MIRROR
             for word, other in (pair, pair[::-1])}  # fmt: skip
    return _rewritten(passage, _with_heads(given), swaps, draw)


def misheard(passage: Passage, draw: random.Random) -> Passage:
    """With short words lost or taken for others, but for those of anything annotated."""
    annotated = [item for items in passage.lists.values() for item in items]
    annotated += [passage.meter] if passage.meter else []
    kept = {at for item in annotated for at in range(item.first, item.last + 1)}
    words: list[str] = []
    where: dict[int, tuple[int, int]] = {}
    for at, word in enumerate(passage.words):
        first = len(words)
        words += _as_heard(word, draw, kept=at in kept)
        where[at] = (first, max(first, len(words) - 1))
    return _moved(passage, tuple(words), where, {}, {}) if words else passage


def _as_heard(word: str, draw: random.Random, *, kept: bool) -> list[str]:
    if word.endswith("'s"):
        return _respelt(word.removesuffix("'s"), draw) if draw.random() < RESPELT else [word]
    others = [others for first, *others in SOUND_ALIKE if first == word]
    chance = draw.random()
    if kept or not others or chance > DROPPED + CONFUSED:
        return [word]
    return [] if chance < DROPPED else [draw.choice(others[0])]


def _respelt(word: str, draw: random.Random) -> list[str]:
    """Without the apostrophe of "charger's", which nobody hears."""
    return [word, "is"] if word in WITH_IS or draw.random() < 0.5 else [word + "s"]


def _with_heads(given: Mapping[Words, Words]) -> dict[Words, Words]:
    """The last word alone stands for a name too: "the pads" after "brake pads"."""
    heads = {name[-1:]: new[-1:] for name, new in given.items()}
    return heads | dict(given)


def _rewritten(
    passage: Passage, given: Mapping[Words, Words], swaps: Mapping[str, str], draw: random.Random
) -> Passage:
    words: list[str] = []
    where: dict[int, tuple[int, int]] = {}  # old word -> its new words
    at = 0
    while at < len(passage.words):
        length, new = _renamed(passage.words, at, given)
        if not length:
            length, new = 1, _spoken(swaps.get(passage.words[at], passage.words[at]), draw)
        first = len(words)
        words += new
        last = max(first, len(words) - 1)
        where |= dict.fromkeys(range(at, at + length), (first, last))
        at += length
    if not words:
        return passage
    return _moved(passage, tuple(words), where, given, swaps)


def _renamed(words: Words, at: int, given: Mapping[Words, Words]) -> tuple[int, list[str]]:
    """How many words of a name begin at ``at``, and the new ones, in the plural if those were."""
    for length in range(4, 0, -1):
        said = words[at : at + length]
        new = given.get(tuple(map(singular, said)))
        if new is not None and len(said) == length:
            plural = singular(said[-1]) != said[-1] and not said[-1].endswith("'s")
            ending = "s" if plural else "'s" if said[-1].endswith("'s") else ""
            return length, [*new[:-1], new[-1] + ending]
    return 0, []


def _spoken(word: str, draw: random.Random) -> list[str]:
    """Now and then with a filler before it."""
    return [draw.choice(FILLERS), word] if draw.random() < FILLED else [word]


def _moved(
    passage: Passage,
    words: Words,
    where: Mapping[int, tuple[int, int]],
    given: Mapping[Words, Words],
    swaps: Mapping[str, str],
) -> Passage:
    last = len(words) - 1

    def moved(item: Item) -> Item:
        fields = {name: _field(name, value, given, swaps) for name, value in item.fields.items()}
        first, end = where[item.first][0], where[item.last][1]
        fields["said"] = " ".join(words[min(first, last) : end + 1])
        return Item(min(first, last), min(end, last), fields)

    lists = {name: tuple(map(moved, passage.lists[name])) for name in LISTS}
    meter = moved(passage.meter) if passage.meter else None
    pauses = [0.0] * len(words) if passage.pauses else []
    for at, silence in enumerate(passage.pauses):
        if silence:
            pauses[min(where[at][0], last)] = silence
    return replace(passage, words=words, lists=lists, meter=meter, pauses=tuple(pauses))


def _field(
    name: str, value: object, given: Mapping[Words, Words], swaps: Mapping[str, str]
) -> object:
    if not isinstance(value, str):
        return value
    if name in NAMES:
        return _new_name(value, given)
    if name == "position":
        return " ".join(swaps.get(word, word) for word in value.split())
    return value


def _new_name(name: str, given: Mapping[Words, Words]) -> str:
    words, out, at = tuple(name.replace("-", " ").split()), [], 0
    while at < len(words):
        length, new = _renamed(words, at, given)
        out += new or [words[at]]
        at += length or 1
    return " ".join(out)


def _joined(one: Passage, other: Passage) -> Passage:
    """Two notes, one after the other."""
    away = len(one.words)

    def later(item: Item) -> Item:
        return Item(item.first + away, item.last + away, item.fields)

    lists = {n: (*one.lists[n], *map(later, other.lists[n])) for n in LISTS}
    meter = one.meter or (later(other.meter) if other.meter else None)
    pauses = ()
    if one.pauses or other.pauses:
        ends = SECONDS["long"]
        pauses = (
            *(one.pauses or [0.0] * away),
            ends,
            *(other.pauses or [0.0] * len(other.words))[1:],
        )
    words = (*one.words, *other.words)
    return replace(one, words=words, lists=lists, meter=meter, pauses=pauses)


def _cut(passage: Passage, draw: random.Random) -> Passage:
    """The words around something annotated, as a short note of its own. Nothing annotated is cut
    through."""
    items = [item for items in passage.lists.values() for item in items]
    if not items:
        return passage
    chosen = draw.choice(items)
    first = max(0, chosen.first - draw.randrange(LEFT))
    last = min(len(passage.words) - 1, chosen.last + draw.randrange(RIGHT))
    while any(item.first < first <= item.last or item.first <= last < item.last for item in items):
        first = min([first, *(i.first for i in items if i.first < first <= i.last)])
        last = max([last, *(i.last for i in items if i.first <= last < i.last)])
    lists = {name: tuple(_within(passage.lists[name], first, last)) for name in LISTS}
    aside = tuple(i for i in lists["set_aside"] if i.first >= CUED or not first)
    meter = list(_within([passage.meter] if passage.meter else [], first, last))
    return replace(
        passage,
        words=passage.words[first : last + 1],
        pauses=passage.pauses[first : last + 1],
        lists=lists | {"set_aside": aside},
        meter=meter[0] if meter else None,
    )


def _within(items: Sequence[Item], first: int, last: int) -> Iterator[Item]:
    for item in items:
        if first <= item.first and item.last <= last:
            yield Item(item.first - first, item.last - first, item.fields)
