"""Words -> which number words are no numbers of their own by what else is said: "co two", the
second of "first ... ten second ..."."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.number_words.lexicon import lexicon
from talklog.transcript import Word

LIST_REACH = 12  # words between two places in a row that count on
VALUE_REACH = 6  # words from a place in a row to its value: "third is supposed to be forty"
POSSESSIVES = ("'s", "’s")


def is_in_a_name(words: Sequence[Word], index: int) -> bool:
    """The "two" of "co two nine percent"; not of "co two percent", nor the "o" of "one o two"."""
    return any(
        _is_said(words, index - at, name)
        for name in lexicon().names
        for at, word in enumerate(name)
        if word == words[index].text.lower()
    )


def _is_said(words: Sequence[Word], start: int, name: tuple[str, ...]) -> bool:
    """Whether a name stands at a word, and neither a number before it nor a unit behind it."""
    end, lists = start + len(name), lexicon().lists
    if start < 0 or tuple(word.text.lower() for word in words[start:end]) != name:
        return False
    behind = words[end].text.lower() if end < len(words) else ""
    begins = not start or words[start - 1].text.lower() not in lexicon().kinds
    return behind not in lists["name.not_before"] and (begins or name[0] not in lexicon().kinds)


def counts_on(words: Sequence[Word], index: int) -> bool:
    """The "second" of "first notch ten second notch twenty": with the place before it said a little
    earlier and a value behind it, it is no unit and no part of the number before."""
    place = _ordinal(words[index].text)
    if place < 2:
        return False
    earlier = words[max(0, index - LIST_REACH) : index]
    later = words[index + 1 : index + 1 + VALUE_REACH]
    counted = any(_ordinal(word.text) == place - 1 for word in earlier)
    return counted and any(_is_value(word.text) for word in later)


def bound(words: Sequence[Word], index: int) -> str:
    """A number word without the 's of "three's the limit" and "under three's scrap"; of "three's
    one ten" it names a place, and the word stays as it is."""
    text = words[index].text.lower()
    behind = [word.text.lower() for word in words[index + 1 : index + 3]]
    limit = behind[:1] == ["the"] and behind[1:2] and behind[1] in lexicon().lists["bound.words"]
    before = words[index - 1].text.lower() if index else ""
    limit = limit or before in lexicon().lists["bound.comparing"]
    ends = text.endswith(POSSESSIVES) and text[:-2] in lexicon().kinds
    return text[:-2] if ends and limit else text


def _ordinal(text: str) -> int:
    """1 of "first", 2 of "second", 3 of "third"; 0 of any other word."""
    kind, value = lexicon().kinds.get(text.lower(), ("", 0))
    if kind in ("first", "second"):
        return 0 if text.endswith("s") else 1 if kind == "first" else 2
    return 0 if kind != "part" or text.endswith("s") or text in ("half", "quarter") else value


def _is_value(text: str) -> bool:
    kind = lexicon().kinds.get(text.lower(), ("", 0))[0]
    return kind in ("zero", "unit", "teen", "tens", "scale", "point")
