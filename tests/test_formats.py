"""Transcripts as text, JSON and WebVTT (W3C Candidate Recommendation, 4 April 2019)."""

from __future__ import annotations

import json
import re

import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog.errors import TextError
from talklog.formats import as_json, as_text, as_vtt
from talklog.transcript import Source, Transcript, Word

SOURCE = Source("audio", "note.wav", "0" * 64, 10.0, "engine", "model")
# Section 4 of the standard: timings are HH:MM:SS.mmm, "-->" between them, no "-->" in the text.
TIMING = re.compile(r"(\d\d):([0-5]\d):([0-5]\d)\.(\d{3}) --> (\d\d):([0-5]\d):([0-5]\d)\.(\d{3})$")


def transcript(*words: tuple[str, float, float]) -> Transcript:
    made, last = [], 0.0
    for text, start, end in words:
        made.append(Word(text, start, end, 1.0, max(0.0, start - last)))
        last = end
    return Transcript(SOURCE, tuple(made))


def cues(text: str) -> list[tuple[int, int, str]]:
    """Start and end in milliseconds, and text; asserts the grammar of the standard."""
    head, *blocks = text.rstrip("\n").split("\n\n")
    assert head == "WEBVTT"
    found = []
    for block in blocks:
        timing, *lines = block.strip("\n").split("\n")
        match = TIMING.match(timing)
        assert match and lines and not any("-->" in line for line in lines), block
        h1, m1, s1, f1, h2, m2, s2, f2 = map(int, match.groups())
        start, end = ((h * 60 + m) * 60 + s for h, m, s in ((h1, m1, s1), (h2, m2, s2)))
        found.append((start * 1000 + f1, end * 1000 + f2, " ".join(lines)))
    return found


WORDS = st.lists(
    st.tuples(
        st.sampled_from(["one", "thou", "a<b", "r&d", "x-->y"]), st.floats(0, 3), st.floats(0.01, 1)
    ),
    max_size=40,
)


@settings(max_examples=150, deadline=None)
@given(WORDS)
def test_captions_are_valid_and_lose_no_word(steps: list[tuple[str, float, float]]) -> None:
    words, now = [], 0.0
    for text, pause, length in steps:
        words.append((text, now + pause, now + pause + length))
        now += pause + length
    found = cues(as_vtt(transcript(*words)))
    assert all(start < end for start, end, _ in found)
    assert all(a[1] <= b[0] for a, b in zip(found, found[1:], strict=False))
    said = " ".join(text for _, _, text in found)
    plain = said.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    assert plain.split() == [text for text, _, _ in words]


def test_webvtt_py_counts_the_same_cues(tmp_path) -> None:
    """webvtt-py drops a cue that it cannot read, so that the count is the check."""
    text = as_vtt(transcript(("twelve", 0.5, 0.9), ("thou", 1.0, 1.4), ("done", 3700.0, 3700.5)))
    path = tmp_path / "note.vtt"
    path.write_text(text, encoding="utf-8")
    assert len(webvtt.read(str(path)).captions) == len(cues(text)) == 2


@pytest.mark.parametrize(
    "bad",
    [
        "",
        "WEBVTTX\n\n00:00:00.000 --> 00:00:01.000\nx",
        "WEBVTT\n\n0:04 --> 0:05\nx",
        "WEBVTT\n\n00:00:00,000 --> 00:00:01,000\nx",
        "WEBVTT\n\n00:00:61.000 --> 00:01:02.000\nx",
    ],
)
def test_the_judge_refuses_what_the_standard_forbids(bad: str) -> None:
    with pytest.raises(AssertionError):
        cues(bad)


def test_typed_text_has_no_captions() -> None:
    with pytest.raises(TextError, match="times"):
        as_vtt(Transcript(SOURCE, (Word("one"),)))


def test_text_and_json() -> None:
    note = transcript(("twelve", 4.0, 4.4), ("thou", 4.5, 5.0), ("done", 9.0, 9.5))
    assert as_text(note).splitlines() == ["0:04  twelve thou", "0:09  done"]
    words = json.loads(as_json(note))["words"]
    assert [w["text"] for w in words] == ["twelve", "thou", "done"] and words[0]["start"] == 4.0


# NIST sclite and jiwer agree on these (substitutions, deletions, insertions over reference words).
WORD_ERRORS = [
    ("the valve clearance is point two five", "the valve clearance is point to five", 1 / 7),
    ("torque to eighty five newton metres", "torque to eighteen five newton", 2 / 6),
    ("a b c d", "a c d e", 0.5),
    ("one two", "one two three four five six", 2.0),
]


@pytest.mark.parametrize(("said", "heard", "error"), WORD_ERRORS)
def test_word_error_is_what_published_tools_give(said: str, heard: str, error: float) -> None:
    from models.evaluation.evaluate import Scored, summary

    scored = Scored("voice", said, heard, (), (), 0, 1.0, 0.1)
    assert summary([scored])["word_error"] == pytest.approx(error)
