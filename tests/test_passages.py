"""Whole passages: what each number is, of what, where, and what else was said.

The table is the place to add a sentence that was understood wrongly. Its rows are common practice
of the trades, no source; the head of the table says how they were made.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.extractor import ablation
from talklog import assemble, mentions, vocabulary, word_files, word_kinds
from talklog.assemble import understand
from talklog.errors import DataFileError
from talklog.notes import Due, Notes
from talklog.roled import ARTICLE
from talklog.trained import final_roles
from talklog.transcript import Source, Transcript, Word
from talklog.typed import read_text
from talklog.vocabulary import Vocabulary

TABLES = Path(__file__).parent / "tables"
PAUSES = {"|": 1.0, ",": 0.4}  # seconds


def spoken(text: str) -> Transcript:
    """The words without pauses; "|" stands for a pause of one second, "," for a short one."""
    words, pause = [], 0.0
    for word in text.split():
        if word in PAUSES:
            pause = PAUSES[word]
        else:
            words.append(Word(word, pause_before=pause))
            pause = 0.0
    return Transcript(Source("audio", "note.wav", "0" * 64), tuple(words))


def rows(name: str) -> list[Any]:
    """Rows that begin with "~" are known to come out wrong; a test tells when they do not."""
    lines = (TABLES / name).read_text("utf-8").splitlines()
    pairs = [line.split("=>") for line in lines if line.strip() and not line.startswith("#")]
    wrong = pytest.mark.xfail(strict=True, reason="known to come out wrong")
    return [
        pytest.param(
            sentence.removeprefix("~").strip(),
            wanted.strip(),
            marks=wrong if sentence.startswith("~") else (),
        )
        for sentence, wanted in pairs
    ]


def told(transcript: Transcript, notes: Notes) -> str:
    """Everything a note says as one line, the way the table writes it."""
    found = [(r.last, _reading(r)) for r in notes.readings]
    found += [(a.last, f"! {a.why} {transcript.heard(a.first, a.last)}") for a in notes.set_aside]
    found += [(u.last, f"? {transcript.heard(u.first, u.last)}") for u in notes.unsure]
    texts = [text for _, text in sorted(found, key=lambda item: item[0])]
    texts += [f"{'did' if a.done else 'to do'}: {a.verb} {a.component}" for a in notes.actions]
    texts += [f"part: {p.quantity or ''} {p.name} {p.status}" for p in notes.parts]
    texts += [f"found: {f.component} {f.condition}" for f in notes.findings]
    texts += [f"later: {f.component or 'it'}{_due(f.due)}" for f in notes.follow_ups]
    texts += [f"warned: {c.text}" for c in notes.cautions]
    texts += [f"meter: {notes.meter.said} {notes.meter.unit}"] if notes.meter else []
    return " ; ".join(" ".join(text.split()) for text in texts)


def _reading(r) -> str:
    doubt = "? " if r.doubt else ""
    place = f", {r.position}" if r.position else ""
    state = f" ({r.condition})" if r.condition else ""
    return f"{doubt}{r.quantity} {r.component}{place}{state} {r.said} {r.unit} {r.role}"


def _due(due: Due | None) -> str:
    if due is None:
        return ""
    if due.distance:
        return " in " + " ".join(due.distance)
    return f" in {due.hours} h" if due.hours else f" {due.event or due.duration or due.date}"


@pytest.mark.parametrize(("sentence", "wanted"), rows("passages.txt"), ids=lambda text: text[:50])
def test_passage_table(sentence: str, wanted: str) -> None:
    transcript = spoken(sentence)
    assert told(transcript, understand(transcript)) == wanted


def test_the_tables_are_large_enough() -> None:
    assert len(rows("passages.txt")) + len(rows("sentences.txt")) >= 160


def test_a_typed_note() -> None:
    """A full stop ends a list; a colon between a place and its value does not part them."""
    text = (
        "Rear tyre 2.2 bar (front 2.1).\nBattery 12.6V.\nCyl 1: 150 psi, cyl 2: 148, cyl 3: 149.\n"
        "Head bolts torqued to 110 Nm; spec 105-115 Nm. Oil 5W30, M8x1.25 bolts."
    )
    notes = understand(read_text(text.encode(), name="note.txt"))
    found = [(r.component, r.position, r.said, r.unit, r.role) for r in notes.readings]
    assert found == [
        ("tyre", "rear", "2.2", "bar", "measured"),
        ("tyre", "front", "2.1", "bar", "measured"),
        ("battery", None, "12.6", "V", "measured"),
        ("cylinder", "1", "150", "psi", "measured"),
        ("cylinder", "2", "148", "psi", "measured"),
        ("cylinder", "3", "149", "psi", "measured"),
        ("head bolt", None, "110", "N.m", "set"),
    ]
    assert {a.why for a in notes.set_aside} == {"quoted_spec", "part_size"}


# Values that must never become readings, whatever else is made of them.
@pytest.mark.parametrize(
    ("sentence", "forbidden"),
    [
        ("filled with five w thirty", {"5", "30"}),
        ("the book says eight to ten thou", {"8", "9", "10"}),
        ("between ten and fifteen psi is normal", {"10", "15", "12.5"}),
        ("used a ten mil spanner", {"10"}),
        ("fitted a twelve volt battery", {"12"}),
        ("m eight by one point two five bolt", {"8", "1.25"}),
        ("eight point eight bolts", {"8.8"}),
        ("half inch drive socket", {"0.5"}),
        ("six new bolts", {"6"}),
        ("at half past four", {"0.5", "4", "4.5"}),
        ("owner reckons twenty psi", {"20"}),
        ("going to set it to forty newton metres", {"40"}),
        ("plus or minus two thou", {"2"}),
        ("torqued to forty no fifty newton metres", {"40"}),
        ("check again in five hundred miles", {"500"}),
        ("hour meter reads four thousand hours", {"4000"}),
        ("fuel flow nine gallons per hour", {"9"}),
        ("one of them was tight", {"1"}),
        ("that one is fine and the other one too", {"1"}),
    ],
)
def test_must_not_become_readings(sentence: str, forbidden: set[str]) -> None:
    notes = understand(spoken(sentence))
    assert not forbidden & {r.said for r in notes.readings}


def test_every_kind_of_cue_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the cues of any one category some row of the tables must come out otherwise, when the
    trained reader does not stand in for them."""
    by_rule = pytest.MonkeyPatch()
    by_rule.setattr(assemble, "final_roles", ablation.by_rule)
    try:
        assert _needless(monkeypatch) == []
    finally:
        by_rule.undo()


def _needless(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    sentences = [
        spoken(s)
        for name in ("passages.txt", "sentences.txt")
        for s, _ in (row.values for row in rows(name))
    ]
    whole = [understand(transcript) for transcript in sentences]
    full = vocabulary.load()
    needless = []
    for category in sorted(word_kinds.CATEGORIES):
        cues = tuple(cue for cue in full.cues if cue.category != category)
        with _vocabulary(monkeypatch, replace(full, cues=cues)):
            if [understand(transcript) for transcript in sentences] == whole:
                needless.append(category)
    return needless


class _vocabulary:
    """A changed vocabulary for the length of a block."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, changed: Vocabulary) -> None:
        self.monkeypatch, self.changed = monkeypatch, changed

    def __enter__(self) -> None:
        self.monkeypatch.setattr(mentions, "load", lambda: self.changed)
        mentions._matcher.cache_clear()

    def __exit__(self, *error: object) -> None:
        self.monkeypatch.undo()
        mentions._matcher.cache_clear()


# ---- what holds for any text ---------------------------------------------------------------------

NUMBERS = "one two three six ten twelve fifty hundred point nought oh half a quarter and to minus"
OTHERS = (
    "thou bar volts psi mil millimetres degrees turns miles hours weeks percent newton metres tyre "
    "battery cylinder injector bolt number front left back both gap torque pressure book says "
    "should be no make that sorry set now was as found left check again in spanner m w by new "
    "fitted need of going if minimum on clock um er per it's not the past times"
)
SAID = st.lists(st.sampled_from([*NUMBERS.split() * 2, *OTHERS.split(), "|"]), max_size=30)


@settings(max_examples=250, deadline=None)
@given(SAID)
def test_every_number_is_accounted_for(words: list[str]) -> None:
    """A reading, set aside, unsure, a place, a due, or the meter: none is passed over, and no
    reading has a value that the words cannot mean."""
    transcript = spoken(" ".join(words))
    found = mentions.find_mentions(transcript)
    roled, _ = final_roles(transcript, found)
    notes = understand(transcript)
    spans = [(x.first, x.last) for x in (*notes.readings, *notes.set_aside, *notes.unsure)]
    spans += [(f.first, f.last) for f in notes.follow_ups]
    spans += [(n.first, n.last) for n in roled if n.role == "position"]
    spans += [(notes.meter.first, notes.meter.last)] if notes.meter else []
    covered = {at for first, last in spans for at in range(first, last + 1)}
    said = [number for number in roled if number.role != ARTICLE]  # "a bar" is no number
    for number in said:
        assert number.number.first in covered, transcript.heard(number.first, number.last)
    values = {number.said for n in roled for number in (n.number, *n.others)}
    assert {r.said for r in notes.readings} <= values
    for reading in notes.readings:
        assert 0 <= reading.first <= reading.last < len(transcript.words)
        assert reading.reason and reading.component and reading.quantity


@settings(max_examples=100, deadline=None)
@given(SAID)
def test_the_same_words_give_the_same_notes(words: list[str]) -> None:
    text = " ".join(words)
    assert understand(spoken(text)) == understand(spoken(text))


# ---- vocabulary files ----------------------------------------------------------------------------


def test_vocabulary_is_large_enough() -> None:
    words = vocabulary.load()
    assert len(words.components) >= 400
    assert len(words.actions) >= 120
    assert len(words.conditions) >= 60


def test_a_phrase_under_two_names_is_refused() -> None:
    with pytest.raises(DataFileError, match=r"parts\.toml.*'rotor'"):
        word_files.parse_phrases("parts.toml", {"disc": ["rotor"], "rotor": []})


def test_plurals_are_understood() -> None:
    forms = word_files.parse_phrases("x", {"battery": [], "bush": [], "key": []}, plural=True)
    assert ("batteries",) in forms["battery"] and ("bushes",) in forms["bush"]
    assert ("keys",) in forms["key"]


def test_habits_name_known_components() -> None:
    table = {"quantity": "gap", "units": ["mm"], "components": ["plug"]}
    with pytest.raises(DataFileError, match=r"habit 1.*'plug'"):
        word_files.parse_habits([table], frozenset({"spark plug"}))
    twice = [table, table | {"quantity": "play"}]
    with pytest.raises(DataFileError, match="habit 2"):
        word_files.parse_habits(twice, frozenset({"plug"}))


def test_every_quantity_of_the_vocabulary_is_one_of_a_unit() -> None:
    words = vocabulary.load()
    known = {quantity for unit in words.units for quantity in unit.quantities}
    named = {*words.quantities, *words.implied, *words.usual_roles, *words.habits.values()}
    assert named - known == set()


def test_every_habit_fits_its_unit() -> None:
    words = vocabulary.load()
    can = {unit.name: unit.quantities for unit in words.units}
    wrong = [(c, u, q) for (c, u), q in words.habits.items() if q not in can[u]]
    assert wrong == []
