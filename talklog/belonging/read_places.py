"""What the trained reader says of a number -> the places of it, known as a whole or by one word."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from talklog.belonging.found_note import SIDE_NEAR, FoundNote, place_by_number
from talklog.mentions import Mention, near
from talklog.numbers import Number, find_numbers
from talklog.vocabulary import load

NUMBERED = -1  # the axis of places by number
BETWEEN = ("of", "to", "and", "from", "the", "on")  # small words within a place
LEADING = ("of", "from", "near", "by", "under", "above", "below", "behind", "between", "past")
ARTICLES = ("the", "a", "an")
OTHERS = ("other", "this", "that", "next", "last")  # a "one" behind these is no number


def read_places(note: FoundNote, first: int) -> tuple[Mention, ...]:
    """The words that the trained reader takes for the place of a number; places that are known
    as a whole."""
    words = _words_of_place(note, first)
    found = (_place_at(note, at, words, first) for at in words)
    return tuple(dict.fromkeys(place for place in found if place is not None))


def axes_of(note: FoundNote, place: Mention) -> set[int]:
    """On which axes a place lies: left and right are on one, front and rear on another."""
    if place.kind == "place":
        return {NUMBERED}
    words = note.transcript.words[place.first : place.last + 1]
    table = load().axes
    if place.name in table:
        return {table[place.name]}
    return {table[word.text] for word in words if word.text in table}


# ---- the words of a place ------------------------------------------------------------------------


def _words_of_place(note: FoundNote, first: int) -> tuple[int, ...]:
    """The words of the place of a number by the trained reader, made whole: "top of" the
    "stroke", "left" to "right"; no article."""
    read = note.read_of.get(first)
    words = note.transcript.words
    if read is None:
        return ()
    chosen = {at for at in read.place if not (_measures(note, at) or _leaves(note, at))}
    chosen -= note.remaining
    for at in sorted(chosen):
        if at + 2 in chosen and words[at + 1].text in BETWEEN:
            chosen.add(at + 1)
        behind = _behind_article(note, at + 1)
        if words[at].text in LEADING and behind in read.maybe_place and behind != first:
            chosen.add(behind)
    return tuple(at for at in sorted(chosen) if words[at].text not in ARTICLES)


def _behind_article(note: FoundNote, at: int) -> int:
    """The word, or the one behind the article that it is."""
    words = note.transcript.words
    while at < len(words) and words[at].text in ARTICLES:
        at += 1
    return at


def _measures(note: FoundNote, at: int) -> bool:
    """Whether a word belongs to what is measured: the "end" of "end float"."""
    close = near(note.mentions.of("quantity"), at, at)
    return any(q.first <= at <= q.last and q.first < q.last for q in close)


def _leaves(note: FoundNote, at: int) -> bool:
    """Whether a word says how something was left, with no other side named: "found at fourteen,
    left at ten", not "left at ten, right at twelve"."""
    words, axes = note.transcript.words, load().axes
    cues = near(note.mentions.cues_of("as_left"), at, at)
    if not any(cue.first <= at <= cue.last for cue in cues):
        return False
    around = {word.text for word in words[max(0, at - SIDE_NEAR) : at + SIDE_NEAR]}
    axis = axes.get(words[at].text)
    return not any(axes.get(text) == axis for text in around - {words[at].text})


# ---- the place that a word says ------------------------------------------------------------------


def _place_at(note: FoundNote, at: int, read: Collection[int], first: int) -> Mention | None:
    """The place that one of the ``read`` words says; ``None`` where it says none after all."""
    known = _known_at(note, at, first)
    if known is not None:
        return known
    if _is_part_of_whole(note, at):
        return None
    alone = _behind_article(note, at + 1) not in read  # of "three thou high", not of "high side"
    text = note.transcript.words[at].text
    unlikely = text in load().never_places and at not in note.read_of[first].sure_place
    if (alone and unlikely) or _is_of_another(note, at, read):
        return None
    numbered = _numbered_at(note, at, whole=alone and not _is_pronoun(note, at, read))
    return numbered or Mention("position", _plain(text), at, at)


def _known_at(note: FoundNote, at: int, first: int) -> Mention | None:
    """The place of the vocabulary to which a word belongs; not where only a part of it is carried
    on: of "front left five other side six" the front."""
    close = near(note.places, at, at)
    known = next((place for place in close if place.first <= at <= place.last), None)
    if known is None or _may_be_whole(note, known, first):
        return known
    divided = len(axes_of(note, known)) > 1 or known.name in load().axes
    return None if divided and known.first < known.last else known


def _is_part_of_whole(note: FoundNote, at: int) -> bool:
    """Whether a word says a place only together with others: "side to side", "cut in"."""
    places = near(note.places, at, at)
    return any(p.first <= at <= p.last and " " in p.name and p.name in load().axes for p in places)


def _may_be_whole(note: FoundNote, place: Mention, first: int) -> bool:
    """Whether the trained reader excludes no word of a place for a number, or thinks of the
    same word elsewhere."""
    read, words = note.read_of[first], note.transcript.words
    said = {*BETWEEN, *ARTICLES, *(words[at].text for at in read.place)}
    return place.kind == "place" or all(
        at in read.maybe_place or words[at].text in said
        for at in range(place.first, place.last + 1)
    )


def _is_of_another(note: FoundNote, at: int, read: Collection[int]) -> bool:
    """The "bank" of "bank two", where the two is the place of another number."""
    if note.transcript.words[at].text not in load().numbered or at + 1 in read:
        return False
    return any(p.kind == "place" and p.first == at + 1 for p in near(note.places, at, at))


# ---- places by number ----------------------------------------------------------------------------


def _numbered_at(note: FoundNote, at: int, *, whole: bool) -> Mention | None:
    """The place that a number is: "three", "the second". The "second" of a "second stage", not
    the ``whole`` place, stays as it was said."""
    close = [n for n in near(note.roled, at, at) if n.number.first <= at <= n.number.last]
    one = note.transcript.words[at].text == "one"
    for item in close:
        keeps = one or item.number.form == "ordinal"
        if item.unit is None and _is_whole(item.number) and (whole or not keeps):
            return place_by_number(item, at, at)
    return number_word_at(note, at) if whole and not close else None


def number_word_at(note: FoundNote, at: int) -> Mention | None:
    """The number that a word is by itself, found among no others: the "two's" of a list."""
    word = note.transcript.words[at]
    runs = find_numbers([replace(word, text=_plain(word.text))])
    said = [number for run in runs for number in run.readings[0]]
    return Mention("place", said[0].said, at, at) if said and _is_whole(said[0]) else None


def _is_pronoun(note: FoundNote, at: int, read: Collection[int]) -> bool:
    """The "one" of "left one", not of "phase one"."""
    words = note.transcript.words
    one = words[at].text == "one" and at - 1 in read
    return one and (words[at - 1].text in load().axes or words[at - 1].text in OTHERS)


def _is_whole(number: Number) -> bool:
    return number.value == number.value.to_integral_value()


def _plain(word: str) -> str:
    return word.removesuffix("'s")
