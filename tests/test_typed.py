"""Typed text is cut into the words a recogniser would have given.

The tables are common practice of typing in workshops, no source. A row is: what is typed, and the
words expected, with | for a pause.
"""

import hashlib
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog.errors import TextError
from talklog.typed import LIMIT_BYTES, read_file, read_stream, read_text, split_words
from talklog.units import load_units

CUTS = [
    # numbers and what is glued to them
    ("12thou", "12 thou"),
    ("0.25mm", "0.25 mm"),
    (".25 mm", "0.25 mm"),
    ("110Nm", "110 nm"),
    ("110 N.m", "110 n.m"),
    ("110N·m", "110 n.m"),
    ("25 ft-lb", "25 ft lb"),
    ("5l/min", "5 l/min"),
    ("90°C", "90 °c"),
    ("90 °C", "90 °c"),
    ("15°", "15 °"),
    ("50%", "50 %"),
    ('3/8" drive', '3/8 " drive'),
    ("1½in", "1 1/2 in"),
    ("1-1/2in", "1 1/2 in"),
    ("-5°C", "minus 5 °c"),
    ("−.5mm", "minus 0.5 mm"),
    ("1,200 rpm", "1200 rpm"),
    ("12,500.5 km", "12500.5 km"),
    ("0,25mm", "0.25 mm"),
    ("12V battery", "12 v battery"),
    ("4.7kΩ", "4.7 kohm"),
    ("2x pads", "2 x pads"),
    ("gap=0.25mm", "gap 0.25 mm"),
    ("gap0.25mm", "gap 0.25 mm"),
    ("~5 thou", "about 5 thou"),
    ("<3mm", "less than 3 mm"),
    (">= 1.6 mm", "at least 1.6 mm"),
    ("<b>bold</b>", "b bold b"),
    # ranges are said with "to"; only rising ones are ranges
    ("10-12mm", "10 to 12 mm"),
    ("10mm-12mm", "10 to 12 mm"),
    ("10 - 12 mm", "10 to 12 mm"),
    ("10–12 mm", "10 to 12 mm"),
    ("1/2-3/4in", "1/2 to 3/4 in"),
    ("12 - 10 thou", "12 | 10 thou"),
    ("14thou -> 10thou", "14 thou | 10 thou"),
    # a stroke makes a fraction only of numbers that stand on rulers and drills
    ("3/8in 13/16 4/32", "3/8 in 13/16 4/32"),
    ("12/14 thou", "12 | 14 thou"),
    ("8/10bar", "8 | 10 bar"),
    ("2.1/2.3bar", "2.1 | 2.3 bar"),
    ("60/80", "60 | 80"),
    # sizes, codes, dates and clock times stay whole
    ("m8 M10x1.25", "m8 m10x1.25"),
    ("10W-40 5w30", "10w-40 5w30"),
    ("205/55R16", "205/55r16"),
    ("1/4-20", "1/4-20"),
    ("6204-2RS", "6204-2rs"),
    ("2026-11-25", "2026-11-25"),
    ("25/11/2026", "25/11/2026"),
    ("14:30", "14:30"),
    ("2nd", "2nd"),
    ("10x1.5mm", "10x1.5mm"),
    # nobody can tell 1.5 from "1 and 5": not cut, so not read
    ("1,5mm", "1,5mm"),
    ("AB12.5-X9.3", "ab12.5-x9.3"),
    # words
    ("Front-Left", "front left"),
    ("brake/clutch", "brake clutch"),
    ("don’t", "don't"),
    ("cyl2 dot4", "cyl 2 dot 4"),
    ('"12.5mm" he said', "12.5 mm he said"),
    ("he said “set to 25”", "he said set to 25"),
    ("on.It leaks", "on | it leaks"),
    ("soft\u00adhyphen", "softhyphen"),
    # punctuation
    ("cylinders 1,2,3", "cylinders 1 | 2 | 3"),
    ("off, on", "off | on"),
    ("off (was on)", "off | was on"),
    ("12thou/14thou", "12 thou 14 thou"),
    ("12kg😀 left", "12 kg left"),
]


def flat(text: str) -> str:
    words = read_text(text.encode()).words
    return " ".join(f"| {word.text}" if word.pause_before else word.text for word in words)


@pytest.mark.parametrize(("typed", "expected"), CUTS)
def test_cut(typed: str, expected: str) -> None:
    assert flat(typed) == expected


SYMBOLS = [symbol for unit in load_units().values() for symbol in unit.typed]


@pytest.mark.parametrize("symbol", SYMBOLS)
@pytest.mark.parametrize("space", ["", " "])
def test_every_written_unit_comes_apart_from_its_number(symbol: str, space: str) -> None:
    """Hyphens part words ("ft-lb"); everything else of a symbol stays one word."""
    if space and symbol == '"':
        pytest.skip("a quote sign alone is no inch")
    number, *words = split_words(f"12{space}{symbol}")
    same = unicodedata.normalize("NFKC", symbol).lower().translate(str.maketrans("·μ", ".u"))
    same = same.replace("ω", "ohm").removesuffix(".")
    assert (number, words) == ("12", same.split("-"))


@pytest.mark.parametrize(
    ("gap", "pause"),
    [(" ", 0), (", ", 0.3), (" - ", 0.3), (". ", 0.8), ("; ", 0.8), ("\n", 1.2), (".\n\n- ", 1.2)],
)
def test_pause_is_the_longest_of_the_gap(gap: str, pause: float) -> None:
    """The values are those documented at transcript.Word."""
    assert read_text(f"wheel{gap}nut".encode()).words[1].pause_before == pause


def test_first_word_has_no_pause() -> None:
    assert read_text(b"\n\n- oil changed").words[0].pause_before == 0


def test_written_form_is_kept_where_it_differs() -> None:
    words = read_text(b"Idle 1,200 rpm, 110Nm, 5mV").words
    written = [word.written for word in words]
    assert written == ["Idle", "1,200", None, None, "Nm", None, "mV"]


def test_source() -> None:
    data = "\ufeffOil changed".encode()
    transcript = read_text(data, name="note.txt")
    assert [word.text for word in transcript.words] == ["oil", "changed"]
    assert transcript.source.sha256 == hashlib.sha256(data).hexdigest()
    assert (transcript.source.kind, transcript.source.name) == ("text", "note.txt")
    assert transcript.source.seconds is transcript.source.engine is None
    assert all(w.start is None and w.confidence is None for w in transcript.words)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no words"),
        (b" \n\t ", "no words"),
        (b"...\n---", "no words"),
        (b"gap \xff mm", "byte 5"),
        ("gap 12 thou".encode("utf-16"), "UTF-8"),
        ("gap 12 thou".encode("utf-16-le"), "UTF-8"),
        (b"\x7fELF\x02\x01\x01\x00", "control character"),
        (b"gap\n12 \x1b[31mthou", "U+001B in line 2"),
        (b"a" * (LIMIT_BYTES + 1), "longer than"),
    ],
)
def test_refused(data: bytes, says: str) -> None:
    with pytest.raises(TextError, match=r"note\.txt") as error:
        read_text(data, name="note.txt")
    assert says in str(error.value)


def test_missing_file_and_folder(tmp_path) -> None:
    for path in (tmp_path / "none.txt", tmp_path):
        with pytest.raises(TextError, match="cannot be read"):
            read_file(path)


def test_stream_is_not_read_beyond_the_limit(tmp_path) -> None:
    path = tmp_path / "huge.txt"
    path.write_bytes(b"a " * LIMIT_BYTES)
    with path.open("rb") as stream:
        with pytest.raises(TextError, match="longer"):
            read_stream(stream)
        assert stream.tell() == LIMIT_BYTES + 1


@pytest.mark.parametrize("unit", ["-", "1-", "1,", '" ', ".5", "a"])
def test_long_runs_stay_quick(unit: str) -> None:
    """Quadratic matching would take minutes here; read whole, so that a hang shows."""
    assert len(read_text((unit * 200_000 + " end").encode()).words) >= 1


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        words = read_text(text.encode("utf-8", "surrogatepass")).words
    except TextError:
        return
    assert all(word.text and word.text == word.text.strip() for word in words)
    assert not any(char.isspace() for word in words for char in word.text)


@settings(max_examples=200, deadline=None)
@given(
    st.decimals(min_value=0, max_value=99999, places=3, allow_nan=False),
    st.sampled_from(["mm", "thou", "Nm", "bar", "°C", "%", " psi", " V"]),
)
def test_a_typed_value_never_changes(value, unit: str) -> None:
    words = read_text(f"gap {value}{unit}, done".encode()).words
    assert [word.text for word in words] == ["gap", str(value), unit.strip().lower(), "done"]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(["gap", "12", "0.25", "mm", "m8", "front", "n.m"]), max_size=12))
def test_cutting_again_changes_nothing(words: list[str]) -> None:
    once = split_words(" ".join(words))
    assert split_words(" ".join(once)) == once
