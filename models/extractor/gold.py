"""A passage of the corpus -> what the trained reader should say of each of its words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from models.extractor.passages import Item, Passage
from models.extractor.scoring import UNCOUNTED, singular, transcript_of
from talklog.mentions import find_mentions
from talklog.notes import NOT_SAID
from talklog.spanreader import SPANS

DIGITS = ("one", "two", "three", "four", "five", "six", "seven", "eight")
PRONOUNS = ("one", "ones", "once")  # number words that often count nothing: "the other one"


def marks_of(passage: Passage, *, names: Iterable[tuple[str, ...]] = ()) -> dict[str, list[int]]:
    """For each head of the reader the label of each word: outside, begins or inside.

    ``names`` are component names of other passages, as words in the singular: the annotators wrote
    a component only where it matters, and a name is one wherever it stands.
    """
    return {name: _marks(len(passage.words), spans) for name, spans in _spans(passage, names)}


def component_names(passages: Iterable[Passage]) -> frozenset[tuple[str, ...]]:
    """All component names of the passages, as words in the singular without places."""
    return frozenset(_plain_name(name) for passage in passages for name in _named(passage)) - {()}


def _plain_name(name: str) -> tuple[str, ...]:
    words = [singular(word) for word in name.replace("-", " ").split()]
    return tuple(word for word in words if word not in UNCOUNTED) if name != NOT_SAID else ()


def roles_of(passage: Passage) -> list[tuple[str, str | None] | None]:
    """For each word of a number its role, and for a reading its quantity; ``None`` elsewhere, and
    where the annotator said nothing of a number."""
    labels: list[tuple[str, str | None] | None] = [None] * len(passage.words)
    labelled = list(_labelled(passage))
    for at in _number_words(passage):
        found = next((entry for entry in labelled if entry[0].first <= at <= entry[0].last), None)
        if found is not None:
            item, role = found
            labels[at] = (role, item["quantity"] if item["role"] else None)
        elif _places_digit(passage, at):
            labels[at] = ("position", None)
        elif passage.words[at] in PRONOUNS:
            labels[at] = ("no_number", None)
    return labels


def _number_words(passage: Passage) -> list[int]:
    runs = find_mentions(transcript_of(passage.words)).numbers
    return [at for run in runs for at in range(run.first, run.last + 1)]


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
    places = [str(item["position"] or "").split() for item in passage.lists["readings"]]
    said = passage.words[at]
    return said in DIGITS and any(str(DIGITS.index(said) + 1) in place for place in places)


# ---- spans ---------------------------------------------------------------------------------------


def _spans(
    passage: Passage, names: Iterable[tuple[str, ...]]
) -> Iterator[tuple[str, list[tuple[int, int]]]]:
    for name, key in (("action", "actions"), ("part", "parts"), ("finding", "findings")):
        yield name, [(item.first, item.last) for item in passage.lists[key]]
    own = component_names([passage])
    tails = {name[at:] for name in own for at in range(len(name))}
    yield "component", list(_named_spans(passage.words, tails | set(names)))


def _named(passage: Passage) -> Iterator[str]:
    for name in ("readings", "actions", "findings", "follow_ups"):
        yield from (item["component"] for item in passage.lists[name] if item["component"])
    yield from (item["name"] for item in passage.lists["parts"] if item["name"])


def _named_spans(words: Sequence[str], names: set[tuple[str, ...]]) -> Iterator[tuple[int, int]]:
    """Where the names stand, the longest first."""
    plain = [singular(word) for word in words]
    longest = max(map(len, names), default=0)
    at = 0
    while at < len(plain):
        for length in range(min(longest, len(plain) - at), 0, -1):
            if tuple(plain[at : at + length]) in names:
                yield at, at + length - 1
                at += length - 1
                break
        at += 1


def _marks(length: int, spans: Iterable[tuple[int, int]]) -> list[int]:
    """0 outside, 1 at the beginning, 2 inside."""
    marks = [SPANS.index("outside")] * length
    for first, last in spans:
        marks[first : last + 1] = [2] * (last - first + 1)
        marks[first] = 1
    return marks
