"""A transcript as text for a person, as JSON for programs, and as WebVTT captions."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from typing import Any

from talklog.errors import TextError
from talklog.transcript import Transcript, Word

SCHEMA = "talklog/transcript/1"
WIDTH = 88  # columns of a printed line
# Seconds of silence that start a new line or caption: a full stop's worth (see Word.pause_before).
BREAK = 0.8
# What a reader takes in at a glance (common practice, no source).
CUE_WORDS, CUE_SECONDS = 10, 5.0


def as_text(transcript: Transcript) -> str:
    """Lines of what was said between pauses, each with the time it starts, if times are known.

    "0:04  rear tyre two point two bar". Empty without words.
    """
    return "".join(_line(words) for words in _groups(transcript.words, _pauses))


def as_dict(transcript: Transcript) -> dict[str, Any]:
    """JSON-safe: {schema, source {...}, words [{text, start, end, ...}]}, fields of Transcript."""
    words = [asdict(word) for word in transcript.words]
    return {"schema": SCHEMA, "source": asdict(transcript.source), "words": words}


def as_json(transcript: Transcript) -> str:
    """as_dict as one indented JSON object."""
    return json.dumps(as_dict(transcript), ensure_ascii=False, indent=2) + "\n"


def as_vtt(transcript: Transcript) -> str:
    """Captions by the W3C's WebVTT: cues in order, never overlapping, of at most CUE_WORDS words.

    Without words the file is valid and has no cue. Raises TextError where words have no times.
    """
    if any(word.start is None or word.end is None for word in transcript.words):
        raise TextError(
            f"{transcript.source.name}: captions need times, and typed text has none. "
            "Take the recording itself, or ask for text or json."
        )
    # The empty line belongs to the header, and must be there even if nothing follows.
    return "WEBVTT\n\n" + "\n".join(_cues(_groups(transcript.words, _fills_cue)))


# ---- lines and cues ------------------------------------------------------------------------------


def _groups(
    words: Sequence[Word], breaks: Callable[[list[Word], Word], bool]
) -> Iterator[list[Word]]:
    """Words in a row; ``breaks(group, word)`` says that ``word`` starts a new group."""
    group: list[Word] = []
    for word in words:
        if group and breaks(group, word):
            yield group
            group = []
        group.append(word)
    if group:
        yield group


def _pauses(_group: list[Word], word: Word) -> bool:
    return word.pause_before >= BREAK


def _fills_cue(group: list[Word], word: Word) -> bool:
    full = len(group) == CUE_WORDS or word.end - group[0].start > CUE_SECONDS
    return full or _pauses(group, word)


def _line(words: Sequence[Word]) -> str:
    start = words[0].start
    lead = "" if start is None else f"{_clock(start)}  "
    said = " ".join(word.written or word.text for word in words)
    wrapper = textwrap.TextWrapper(
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return wrapper.fill(said) + "\n"


def _clock(seconds: float) -> str:
    """61.8 -> "1:01": whole seconds, as a player shows them."""
    minutes, second = divmod(math.floor(seconds), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"


def _cues(groups: Iterator[list[Word]]) -> Iterator[str]:
    """Cue blocks. A cue starts no earlier than the last one ends and takes at least 1 ms."""
    last = 0
    for words in groups:
        start = max(last, _milliseconds(words[0].start))
        last = max(start + 1, _milliseconds(words[-1].end))
        said = " ".join(_escaped(word.text) for word in words)
        yield f"{_stamp(start)} --> {_stamp(last)}\n{said}\n"


def _milliseconds(seconds: float | None) -> int:
    return round((seconds or 0.0) * 1000)


def _stamp(milliseconds: int) -> str:
    seconds, thousandths = divmod(milliseconds, 1000)
    minutes, second = divmod(seconds, 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours:02}:{minute:02}:{second:02}.{thousandths:03}"


def _escaped(text: str) -> str:
    """A word as cue text: one line, and nothing that could be a tag or an arrow."""
    line = " ".join(text.split())
    return line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
