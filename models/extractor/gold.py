"""A passage of the corpus -> what the trained reader should say of its words and numbers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from models.extractor.passages import Item, Passage
from models.extractor.scoring import UNCOUNTED, component_words
from talklog.mentions import Mentions
from talklog.notearrays import FATES, QUANTITIES, ROLES
from talklog.notes import NOT_SAID
from talklog.nouns import singular
from talklog.roled import ARTICLE, MEASURING, RoledNumber
from talklog.verbs import base_form

DIGITS = ("one", "two", "three", "four", "five", "six", "seven", "eight")
PRONOUNS = ("one", "ones", "once")  # number words that often count nothing: "the other one"
LARGEST_PLACE = 50
NOTHING = -1  # the label of what the annotator said nothing of
ALIKE = 0.55  # of two forms of a verb
USUAL = 0.3  # of the passages that hold a name
PARTICLE = 3  # label of a word that belongs to a verb
OBJECT = 8  # words from a verb to its particle
CLOSE = 4  # words from a number to its place behind it
BESIDE = 3  # words between a part's name and what was annotated of it
Names = frozenset[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Ask:
    """A word of a kind of notenet.ASKERS and the last words of the thing it is about, as they stand
    in the note; none if it was not said, ``None`` if that cannot be told."""

    kind: str
    at: int
    things: list[int] | None


def gold_of(
    passage: Passage, mentions: Mentions, roled: Sequence[RoledNumber], *, names: Names
) -> dict[str, Any]:
    """Labels as plain lists and numbers, for a Doc's ``user_data``. ``names`` are component names
    of other passages, as words in the singular: the annotators wrote a component only where it
    matters, and a name is one wherever it stands."""
    roles = roles_of(passage, roled)
    asks = [*_asks(passage, mentions), *_number_asks(passage, mentions, roled, roles)]
    return {
        "words": dict(_labels(passage, mentions, roled, roles, names)),
        "roles": [ROLES.index(role) if role else NOTHING for role in roles],
        "quantities": [_quantity(passage, item, role) for item, role in _both(roled, roles)],
        "places": [_places(passage, item, role, roled) for item, role in _both(roled, roles)],
        "units": [_unit(passage, mentions, item, role) for item, role in _both(roled, roles)],
        "asks": [(ask.kind, ask.at, ask.things) for ask in asks],
    }


def _both(roled: Sequence[RoledNumber], roles: Sequence[str | None]) -> Iterator[tuple[Any, Any]]:
    yield from zip(roled, roles, strict=True)


# ---- names ---------------------------------------------------------------------------------------


def component_names(passages: Iterable[Passage]) -> Names:
    """All component names of the passages, as words in the singular without places."""
    return frozenset(_plain_name(name) for passage in passages for name in _named(passage)) - {()}


def usual_names(passages: Sequence[Passage]) -> Names:
    """Those of the passages that are annotated as things in USUAL of the passages where they stand,
    or more: "point" and "check" were things once, and mostly are none."""
    names, annotated, standing = component_names(passages), Counter[Any](), Counter[Any]()
    longest = max(map(len, names), default=0)
    for passage in passages:
        words = [singular(word) for word in passage.words]
        lengths = range(1, longest + 1)
        runs = {tuple(words[at : at + k]) for k in lengths for at in range(len(words) - k + 1)}
        own = component_names([passage])
        tails = {name[at:] for name in own for at in range(len(name))}
        standing.update(runs & names)
        annotated.update(runs & names & tails)
    return frozenset(name for name in names if annotated[name] >= USUAL * standing[name] > 0)


def _plain_name(name: str) -> tuple[str, ...]:
    words = [singular(word) for word in name.replace("-", " ").split()]
    return tuple(word for word in words if word not in UNCOUNTED) if name != NOT_SAID else ()


def _named(passage: Passage) -> Iterator[str]:
    for name in ("readings", "actions", "findings", "follow_ups"):
        yield from (item["component"] for item in passage.lists[name] if item["component"])
    yield from (item["name"] for item in passage.lists["parts"] if item["name"])


def _named_spans(words: Sequence[str], names: Iterable[Any]) -> Iterator[tuple[int, int]]:
    """Where the names stand, the longest first."""
    plain, wanted = [singular(word) for word in words], set(names)
    longest = max(map(len, wanted), default=0)
    at = 0
    while at < len(plain):
        for length in range(min(longest, len(plain) - at), 0, -1):
            if tuple(plain[at : at + length]) in wanted:
                yield at, at + length - 1
                at += length - 1
                break
        at += 1


def _spans_of(passage: Passage, name: str, mentions: Mentions) -> list[tuple[int, int]]:
    """Where a component stands: its words, its name in the vocabulary, or a part of its words."""
    own, wanted = _plain_name(name), component_words(name)
    known = [m for m in mentions.of("component") if component_words(m.name) == wanted]
    tries = [own, *(own[at:] for at in range(1, len(own))), own[:1]]
    found = list(_named_spans(passage.words, [own])) if own else []
    if found or not own:
        return found
    if known:
        return [(mention.first, mention.last) for mention in known]
    places = (list(_named_spans(passage.words, [part])) for part in tries[1:])
    return next((spans for spans in places if spans), [])


def _things(passage: Passage, name: str | None, mentions: Mentions) -> list[int] | None:
    if name is None or name == NOT_SAID:
        return []
    return [last for _, last in _spans_of(passage, name, mentions)] or None


# ---- numbers -------------------------------------------------------------------------------------


def roles_of(passage: Passage, roled: Sequence[RoledNumber]) -> list[str | None]:
    """The role of each number, ``None`` where the annotator said nothing of it."""
    labelled = list(_labelled(passage))
    return [_role(passage, item, labelled) for item in roled]


def _role(
    passage: Passage, number: RoledNumber, labelled: Sequence[tuple[Item, str]]
) -> str | None:
    """What most of its words are."""
    said: Counter[str] = Counter()
    for at in range(number.number.first, number.number.last + 1):
        role = next((role for item, role in labelled if item.first <= at <= item.last), None)
        if role is None and _places_digit(passage, at):
            role = "position"
        no_number = passage.words[at] in PRONOUNS or number.role == ARTICLE
        if role is None and no_number:
            role = "no_number"
        said.update([role] if role else [])
    return said.most_common(1)[0][0] if said else None


def _labelled(passage: Passage) -> Iterator[tuple[Item, str]]:
    """Annotations that say what a number is, those that say most first."""
    lists = passage.lists
    yield from ((item, item["role"]) for item in lists["readings"])
    yield from ((item, item["why"]) for item in lists["set_aside"])
    if passage.meter:
        yield passage.meter, "meter"
    yield from ((item, "follow_up") for item in lists["follow_ups"] if _numbered(item))
    yield from ((item, "part_quantity") for item in lists["parts"] if item["quantity"])
    yield from ((item, "unsure") for item in lists["unsure"])


def _numbered(item: Item) -> bool:
    return bool(set(item["due"] or ()) & {"distance", "hours", "duration"})


def _places_digit(passage: Passage, at: int) -> bool:
    """Whether a reading of the passage is at the place of this number."""
    said = passage.words[at].removesuffix("'s")
    places = [str(item["position"] or "").split() for item in passage.lists["readings"]]
    return said in DIGITS and any(str(DIGITS.index(said) + 1) in place for place in places)


def _reading(passage: Passage, number: RoledNumber, role: str | None) -> Item | None:
    if role not in MEASURING:
        return None
    first, last = number.number.first, number.number.last
    items = passage.lists["readings"]
    return next((item for item in items if item.first <= last and first <= item.last), None)


def _quantity(passage: Passage, number: RoledNumber, role: str | None) -> int:
    item = _reading(passage, number, role)
    known = item is not None and item["quantity"] in QUANTITIES
    return QUANTITIES.index(item["quantity"]) if known else NOTHING


def _number_asks(
    passage: Passage,
    mentions: Mentions,
    roled: Sequence[RoledNumber],
    roles: Sequence[str | None],
) -> Iterator[Ask]:
    """One for each number; those that are no readings ask nothing that could be told."""
    for number, role in _both(roled, roles):
        item = _reading(passage, number, role)
        things = _things(passage, item["component"], mentions) if item else None
        yield Ask("number", number.number.first, things)


def _places(
    passage: Passage, number: RoledNumber, role: str | None, roled: Sequence[RoledNumber]
) -> list[int] | None:
    """The words that say the place of a reading; ``None`` for other numbers."""
    item = _reading(passage, number, role)
    if item is None:
        return None
    found = []
    for word in str(item["position"] or "").replace("-", " ").split():
        where = [at for at in _standing(passage, word, roled) if not item.first <= at <= item.last]
        found += _meant(where, item)
    return sorted(set(found))


def _unit(
    passage: Passage, mentions: Mentions, number: RoledNumber, role: str | None
) -> list[int] | None:
    """The last words of the unit of a reading, its own or one said elsewhere; none if none was
    said, ``None`` for other numbers and units that do not stand in the note."""
    item = passage.meter if role == "meter" else _reading(passage, number, role)
    if item is None:
        return None
    if number.unit is not None and number.unit.last > number.number.last:
        return [number.unit.last]
    if item["unit"] is None:
        return []
    named = [m.last for m in mentions.of("unit") if item["unit"] in {u.name for u in m.units}]
    return sorted(named, key=lambda at: abs(at - item.first))[:2] or None


def _meant(where: Sequence[int], item: Item) -> list[int]:
    """Of the words that may say a place the last before the number, or one that follows closer:
    "two on the left and three on the right"."""
    before = [at for at in where if at < item.first][-1:]
    behind = [at for at in where if at > item.last][:1]
    if before and behind and behind[0] - item.last <= min(CLOSE, item.first - before[0]):
        return behind
    return before or behind


def _standing(passage: Passage, word: str, roled: Sequence[RoledNumber]) -> list[int]:
    """Where a word of a place stands in the note; a digit is said as a number."""
    if not word.isdigit():
        forms = (word, singular(word))
        return [at for at, said in enumerate(passage.words) if {said, singular(said)} & {*forms}]
    numbers = [n.number for n in roled if n.number.value == int(word) < LARGEST_PLACE]
    spoken = DIGITS[int(word) - 1] if 0 < int(word) <= len(DIGITS) else ""
    alone = [n.last for n in numbers]
    return alone or [
        at for at, said in enumerate(passage.words) if said.removesuffix("'s") == spoken
    ]


# ---- words ---------------------------------------------------------------------------------------


def _labels(
    passage: Passage,
    mentions: Mentions,
    roled: Sequence[RoledNumber],
    roles: Sequence[str | None],
    names: Names,
) -> Iterator[tuple[str, list[int]]]:
    """For each of notenet.WORD_HEADS the label of each word."""
    length, lists = len(passage.words), passage.lists
    own = component_names([passage])
    tails = {name[at:] for name in own for at in range(len(name))}
    yield "thing", _spanned(length, _named_spans(passage.words, tails | names))
    yield "state", _spanned(length, map(_condition, _of(passage, "findings")))
    yield "later", _spanned(length, ((i.first, i.last) for i in lists["follow_ups"]))
    yield "number", _spanned(length, _number_spans(passage, roled, roles))
    work, part = [0] * length, [0] * length
    for item in lists["actions"]:
        for at in _particles_at(passage, item):
            work[at] = PARTICLE
    for item in lists["actions"]:
        work[verb_at(passage, item)] = 1 if item["done"] else 2
    for item in lists["parts"]:
        part[_part_at(passage, item, mentions)] = 1 + FATES.index(item["status"])
    yield from (("work", work), ("part", part))


def _spanned(length: int, spans: Iterable[tuple[int, int]]) -> list[int]:
    """0 outside, 1 at the beginning, 2 inside."""
    marks = [0] * length
    for first, last in spans:
        marks[first : last + 1] = [2] * (last - first + 1)
        marks[first] = 1
    return marks


def _of(passage: Passage, name: str) -> Iterator[tuple[Passage, Item]]:
    yield from ((passage, item) for item in passage.lists[name])


def _condition(found: tuple[Passage, Item]) -> tuple[int, int]:
    """The words of the condition within what was annotated."""
    passage, item = found
    words = tuple((item["condition"] or "").split())
    for first in range(item.first, item.last + 2 - len(words)):
        if words and passage.words[first : first + len(words)] == words:
            return first, first + len(words) - 1
    return item.first, item.last


def _number_spans(
    passage: Passage, roled: Sequence[RoledNumber], roles: Sequence[str | None]
) -> Iterator[tuple[int, int]]:
    """Numbers as their annotations divide them; places and other single numbers as they stand."""
    numbered = {at for n in roled for at in range(n.number.first, n.number.last + 1)}
    said: set[int] = set()
    for item, _ in _labelled(passage):
        inside = [at for at in range(item.first, item.last + 1) if at in numbered]
        if inside and not said & set(inside):
            said |= set(inside)
            yield inside[0], inside[-1]
    for number, role in _both(roled, roles):
        own = range(number.number.first, number.number.last + 1)
        if role in ("position", "no_number", None) and not said & set(own):
            yield own[0], own[-1]


def verb_at(passage: Passage, item: Item) -> int:
    """The word of an annotated action that is its verb."""
    verb = base_form((item["verb"] or "").split()[:1])
    forms = [base_form([passage.words[at]]) for at in range(item.first, item.last + 1)]
    alike = [2.0 if f == verb else SequenceMatcher(None, f, verb).ratio() for f in forms]
    best = max(range(len(alike)), key=alike.__getitem__)
    return item.first + (best if alike[best] > ALIKE else 0)


def _particles_at(passage: Passage, item: Item) -> Iterator[int]:
    """The words after the verb that belong to it: "took the cover off"."""
    verb = verb_at(passage, item)
    for word in (item["verb"] or "").split()[1:]:
        behind = range(verb + 1, min(verb + OBJECT, len(passage.words)))
        yield from [at for at in behind if passage.words[at] == word][:1]


def _part_at(passage: Passage, item: Item, mentions: Mentions) -> int:
    """The last word of the part's name near what was annotated."""
    spans = _spans_of(passage, item["name"] or "", mentions)
    near = [s for s in spans if item.first - BESIDE <= s[0] <= item.last + BESIDE]
    return min(near, key=lambda span: abs(span[0] - item.first))[1] if near else item.last


def _asks(passage: Passage, mentions: Mentions) -> Iterator[Ask]:
    for item in passage.lists["actions"]:
        yield Ask("work", verb_at(passage, item), _things(passage, item["component"], mentions))
    for item in passage.lists["findings"]:
        first, _ = _condition((passage, item))
        yield Ask("state", first, _things(passage, item["component"], mentions))
    for item in passage.lists["parts"]:
        at = _part_at(passage, item, mentions)
        yield Ask("part", at, _things(passage, item["name"], mentions))
    for item in passage.lists["follow_ups"]:
        yield Ask("later", item.first, _things(passage, item["component"], mentions))
