"""Records: the contract of version 1, its JSON Schema, times, durations, ids.

Outside judges: jsonschema (Draft 2020-12), ucumvert (UCUM essence 2.2), the RFCs named below.
"""

import json
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator

from talklog.bands import parse_bands
from talklog.cautions import find_cautions
from talklog.check import check
from talklog.errors import RecordError
from talklog.new_record import make_record, record_id
from talklog.notes import (
    Action,
    Due,
    Finding,
    FollowUp,
    Meter,
    Notes,
    Part,
    Reading,
    SetAside,
    SpokenCaution,
    Unsure,
)
from talklog.record import json_schema, load_record, to_json
from talklog.transcript import Source, Transcript, Word
from talklog.typed import read_text
from talklog.units import load_units

SCHEMA = json.loads((files("talklog") / "data" / "record-1.schema.json").read_text("utf-8"))

SHEET = parse_bands("""
[machine]
key = "heron"
name = "Narrowboat Heron"
[[band]]
quantity = "clearance"
component = "inlet valve"
low = 0.20
high = 0.30
unit = "mm"
source = "engine card"
caution = "Set cold."
[[band]]
quantity = "torque"
component = "head bolt"
low = 100
unit = "N.m"
source = "engine card"
critical = true
""")

SPOKEN = (
    "meter 412 hours inlet valve clearance 12 thou set it to 10 thou head bolt 65 foot pounds "
    "fitted 2 gaskets belt worn change belt in 50 hours mind the fan maybe 8 "
    "book says 0.25"
)
SAID = SPOKEN.split()


def transcript(*, audio: bool = True) -> Transcript:
    words = tuple(
        Word(text, start=i * 0.4, end=i * 0.4 + 0.3, confidence=1 - i / 100)
        for i, text in enumerate(SAID)
    )
    source = Source("audio", "heron.flac", "ab" * 32, 12.5, "vosk 0.3.45", "talklog-en")
    return Transcript(source, words if audio else tuple(Word(word) for word in SAID))


def reading(quantity, component, said, unit, role, span, **more) -> Reading:
    return Reading(
        quantity, component, None, None, Decimal(said), said, unit, role, *span, reason="", **more
    )


NOTES = Notes(
    readings=(
        reading("clearance", "inlet valve", "12", "thou", "as_found", (3, 7)),
        reading("clearance", "inlet valve", "10", "thou", "set", (8, 12)),
        reading("torque", "head bolt", "65", "lbf.ft", "set", (13, 17)),
        reading("gap", "not said", "8", None, "measured", (31, 32), doubt="no unit was said"),
    ),
    set_aside=(SetAside("quoted_spec", 33, 35),),
    actions=(Action("fit", "gasket", None, True, 18, 20),),
    parts=(Part("gasket", 2, "fitted", 19, 20),),
    findings=(Finding("belt", "worn", 21, 22),),
    follow_ups=(FollowUp("change belt", "belt", Due(hours="50"), 23, 27),),
    cautions=(SpokenCaution("mind the fan", 28, 30),),
    meter=Meter(Decimal(412), "412", "h", 0, 2),
)
WHEN = datetime(2026, 11, 25, 17, 5, 9, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))


def record(notes: Notes = NOTES, *, sheet=SHEET, audio: bool = True):
    said = transcript(audio=audio)
    return make_record(
        said,
        notes,
        check(notes, sheet),
        machine=sheet.machine if sheet else None,
        warned=find_cautions(said, notes, sheet="heron.toml" if sheet else None),
        made_at=WHEN,
    )


def as_json(made) -> dict:
    return json.loads(to_json(made))


VARIANTS = {
    "full": record(),
    "no sheet": record(sheet=None),
    "no times": record(audio=False),
    "empty": record(Notes(), sheet=None),
    "open": record(Notes(unsure=(Unsure("two could be meant", 31, 32),))),
}


# ---- the schema ----------------------------------------------------------------------------------


def test_shipped_schema_is_valid_2020_12() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_shipped_schema_is_up_to_date() -> None:
    assert json_schema() == SCHEMA, "python -m talklog.record > talklog/data/record-1.schema.json"


def test_the_documented_command_writes_the_schema() -> None:
    run = subprocess.run([sys.executable, "-m", "talklog.record"], capture_output=True, check=True)
    assert json.loads(run.stdout) == SCHEMA


def test_schema_uses_no_unicode_classes() -> None:
    r"""jsonschema and others disagree on \p{..} (seen when running the JSON Schema Test Suite)."""
    assert r"\p{" not in json.dumps(SCHEMA)


@pytest.mark.parametrize("made", VARIANTS.values(), ids=VARIANTS)
def test_records_follow_the_schema_and_survive_a_round_trip(made) -> None:
    Draft202012Validator(SCHEMA).validate(as_json(made))
    assert load_record(to_json(made)) == made


def test_field_names_are_the_contract() -> None:
    full = as_json(VARIANTS["full"])
    names = " ".join(full)
    assert names == (
        "schema id made_at machine meter source words readings set_aside actions parts findings "
        "follow_ups cautions unsure flags"
    )
    expected = {
        "words": "text start end confidence",
        "readings": "quantity component position condition value unit ucum si role verdict band "
        "reason heard words start end confidence",
        "set_aside": "heard why words",
        "actions": "verb component position done heard words",
        "parts": "name quantity status heard words",
        "findings": "component condition heard words",
        "follow_ups": "what component due heard words",
        "cautions": "text from",
        "unsure": "heard why words",
        "flags": "level about text",
    }
    for name, keys in expected.items():
        assert set(full[name][0]) == set(keys.split()), name
    assert set(full["machine"]) == {"key", "name"}
    assert set(full["meter"]) == {"value", "unit", "ucum", "heard", "words"}
    assert set(full["source"]) == {"kind", "sha256", "seconds", "engine", "model"}
    assert full["schema"] == "talklog/record/1"


# One change each that a reader of records must be able to rely on never to see.
BREAKS = [
    ("an unknown field", lambda r: r.update(colour="red")),
    ("a field gone", lambda r: r.pop("flags")),
    ("another version", lambda r: r.update(schema="talklog/record/2")),
    ("a number as value", lambda r: r["readings"][0].update(value=12)),
    ("an exponent", lambda r: r["readings"][0].update(value="1.2e1")),
    ("an unknown role", lambda r: r["readings"][0].update(role="guessed")),
    ("an unknown verdict", lambda r: r["readings"][0].update(verdict="ok")),
    ("an unknown why", lambda r: r["set_aside"][0].update(why="other")),
    ("a short digest", lambda r: r["source"].update(sha256="ab")),
    ("a confidence above 1", lambda r: r["words"][0].update(confidence=1.5)),
    ("a negative time", lambda r: r["words"][0].update(start=-1.0)),
    ("one word index", lambda r: r["parts"][0].update(words=[1])),
    ("three word indices", lambda r: r["parts"][0].update(words=[1, 2, 3])),
    ("a time without offset", lambda r: r.update(made_at="2026-11-25T10:00:00")),
    ("two ways of being due", lambda r: r["follow_ups"][0]["due"].update(event="x")),
    ("a caution from nobody", lambda r: r["cautions"][0].update({"from": "web"})),
    ("a python name", lambda r: r["cautions"][0].update(origin=r["cautions"][0].pop("from"))),
]


@pytest.mark.parametrize(("what", "spoil"), BREAKS, ids=[what for what, _ in BREAKS])
def test_schema_and_reader_refuse(what: str, spoil) -> None:
    body = as_json(VARIANTS["full"])
    spoil(body)
    assert not Draft202012Validator(SCHEMA).is_valid(body)
    with pytest.raises(RecordError, match="talklog/record/1"):
        load_record(json.dumps(body))


# What no schema can say but the reader still refuses.
@pytest.mark.parametrize(
    ("says", "spoil"),
    [
        ("not in the record", lambda r: r["parts"][0].update(words=[1, 99])),
        ("first word after", lambda r: r["parts"][0].update(words=[20, 19])),
        ("not 'two'", lambda r: r["parts"][0].update(heard="two")),
        ("made_at", lambda r: r.update(made_at="2026-02-30T10:00:00Z")),
    ],
)
def test_reader_refuses_what_cannot_be(says: str, spoil) -> None:
    body = as_json(VARIANTS["full"])
    spoil(body)
    with pytest.raises(RecordError, match=re.escape(says)):
        load_record(json.dumps(body), where="van.json")


@pytest.mark.parametrize("text", ["", "[]", "null", "{", b"\xff", '{"schema": "talklog/record/1"}'])
def test_what_is_no_record_is_refused(text) -> None:
    with pytest.raises(RecordError, match=r"van\.json"):
        load_record(text, where="van.json")


# ---- times and durations -------------------------------------------------------------------------

# RFC 3339 section 5.8 (examples), 5.6 (grammar) and appendix D (leap seconds).
TIMES = [
    ("1985-04-12T23:20:50.52Z", True),
    ("1996-12-19T16:39:57-08:00", True),
    ("1937-01-01T12:00:27.87+00:20", True),
    ("1990-12-31T23:59:60Z", True),
    ("1990-12-31T15:59:60-08:00", True),
    ("1985-04-12t23:20:50z", True),
    ("1990-12-31T22:59:60Z", False),
    ("2026-11-25", False),
    ("2026-11-25 10:00:00Z", False),
    ("2026-11-25T10:00:00", False),
    ("2026-11-25T10:00Z", False),
    ("2026-13-01T10:00:00Z", False),
    ("2026-02-30T10:00:00Z", False),
    ("2026-11-25T24:00:00Z", False),
    ("2026-11-25T10:60:00Z", False),
    ("2026-11-25T10:00:00+24:00", False),
    ("2026-11-25T10:00:00+0100", False),
    ("20261125T100000Z", False),
]


@pytest.mark.parametrize(("text", "good"), TIMES)
def test_made_at_is_rfc_3339(text: str, good: bool) -> None:
    body = as_json(VARIANTS["empty"]) | {"made_at": text}
    if good:
        assert load_record(json.dumps(body)).made_at == text
        return
    with pytest.raises(RecordError):
        load_record(json.dumps(body))


def test_made_at_has_the_offset() -> None:
    assert VARIANTS["full"].made_at == "2026-11-25T17:05:09-03:30"
    now = make_record(transcript(), Notes(), check(Notes(), None)).made_at
    age = datetime.now(UTC) - datetime.fromisoformat(now)
    assert timedelta(seconds=-2) < age < timedelta(minutes=1)


def test_made_at_without_offset_is_refused() -> None:
    naive = datetime(2026, 11, 25)
    with pytest.raises(RecordError, match="made_at"):
        make_record(transcript(), Notes(), check(Notes(), None), made_at=naive)


# RFC 3339 appendix A; the refused ones are what ISO parsers often let through.
DURATIONS = [
    ("PT1H30M", True),
    ("P1W", True),
    ("P6M", True),
    ("P3Y6M4DT12H30M5S", True),
    ("P1Y", True),
    ("PT36H", True),
    ("P0D", True),
    ("P", False),
    ("PT", False),
    ("P1", False),
    ("P1DT", False),
    ("PT0.5S", False),
    ("P1Y2D", False),
    ("PT1H5S", False),
    ("P1Y2W", False),
    ("P1WT1H", False),
    ("-P1D", False),
    ("P1D2H", False),
    ("p1d", False),
    ("P1S", False),
    ("P२Y", False),
]


@pytest.mark.parametrize(("text", "good"), DURATIONS)
def test_duration_is_rfc_3339(text: str, good: bool) -> None:
    body = as_json(VARIANTS["full"])
    body["follow_ups"][0]["due"] = {"duration": text}
    assert Draft202012Validator(SCHEMA).is_valid(body) == good
    if good:
        load_record(json.dumps(body))
        return
    with pytest.raises(RecordError):
        load_record(json.dumps(body))


DUES = [
    (Due(event="next wash"), {"event": "next wash"}),
    (Due(distance=("5000", "mi")), {"distance": "5000", "unit": "mi"}),
    (Due(hours="50"), {"hours": "50"}),
    (Due(duration="P6M"), {"duration": "P6M"}),
    (Due(date="2027-03-01"), {"date": "2027-03-01"}),
    (None, None),
]


@pytest.mark.parametrize(("due", "expected"), DUES)
def test_every_way_of_being_due(due, expected) -> None:
    notes = replace(NOTES, follow_ups=(FollowUp("change belt", None, due, 23, 27),))
    assert as_json(record(notes))["follow_ups"][0]["due"] == expected


# ---- content -------------------------------------------------------------------------------------


def test_every_value_has_its_words_and_seconds() -> None:
    full = as_json(VARIANTS["full"])
    first = full["readings"][0]
    assert (first["heard"], first["words"]) == ("inlet valve clearance 12 thou", [3, 7])
    assert (first["start"], first["end"]) == (pytest.approx(1.2), pytest.approx(3.1))
    assert first["confidence"] == pytest.approx(0.93), "the least sure word counts"
    for group in ("set_aside", "actions", "parts", "findings", "follow_ups", "unsure"):
        for item in full[group]:
            a, b = item["words"]
            assert item["heard"] == " ".join(SAID[a : b + 1])


def test_typed_text_has_no_times() -> None:
    first = as_json(VARIANTS["no times"])["readings"][0]
    assert first["start"] is first["end"] is first["confidence"] is None


def test_values_units_and_verdicts() -> None:
    found = [
        (r["value"], r["unit"], r["ucum"], r["si"], r["verdict"])
        for r in as_json(VARIANTS["full"])["readings"]
    ]
    assert found[0] == ("12", "thou", "[mil_i]", {"value": "0.3048", "unit": "mm"}, "high")
    assert found[1] == ("10", "thou", "[mil_i]", {"value": "0.254", "unit": "mm"}, "in_band")
    assert found[2][1:3] == ("lbf.ft", "[ft_i].[lbf_av]")
    # 65 lbf.ft = 88.13 N.m by NIST SP 811 (1.355818 N.m each)
    assert float(found[2][3]["value"]) == pytest.approx(65 * 1.355818, rel=1e-6)
    assert found[2][4] == "low"
    assert found[3] == ("8", None, None, None, "unsure")


def test_band_is_copied_with_its_source() -> None:
    band = as_json(VARIANTS["full"])["readings"][0]["band"]
    assert (band["low"], band["high"], band["unit"]) == ("0.20", "0.30", "mm")
    assert (band["source"], band["critical"]) == ("engine card", False)


def test_an_unsure_reading_is_asked_about_once() -> None:
    asked = VARIANTS["full"].unsure
    assert [item.heard for item in asked] == ["maybe 8"]
    notes = replace(NOTES, unsure=(Unsure("which part?", 31, 32),))
    assert [item.why for item in record(notes).unsure] == ["which part?"]


def test_cautions_come_from_speaker_sheet_and_kind_of_work() -> None:
    cautions = as_json(VARIANTS["full"])["cautions"]
    assert cautions[0] == {"text": "mind the fan", "from": "speaker"}
    texts = [caution["text"] for caution in cautions]
    assert "inlet valve: Set cold." in texts
    assert any(text.startswith("Torque:") for text in texts)
    assert any("heron.toml" in text for text in texts)
    assert len(texts) == len(set(texts))


def test_cautions_hold_no_number_that_nobody_gave() -> None:
    spoken = set(SAID)
    for caution in VARIANTS["full"].cautions:
        assert set(re.findall(r"\d+(?:\.\d+)?", caution.text)) <= spoken


def test_flags_are_most_serious_first() -> None:
    levels = [flag.level for flag in VARIANTS["full"].flags]
    assert levels == sorted(levels, key=["stop", "look", "note"].index)
    assert levels[0] == "stop"


def test_id_is_of_source_and_machine() -> None:
    one = record_id("ab" * 32, "heron")
    assert one == record().id == record(Notes()).id
    assert len({one, record_id("ab" * 32, None), record_id("cd" * 32, "heron")}) == 3


@pytest.mark.parametrize("unit", load_units())
def test_every_unit_gives_a_good_reading(unit: str) -> None:
    quantity = (load_units()[unit].quantities or ("length",))[0]
    notes = Notes(readings=(reading(quantity, "part", "30.0", unit, "measured", (0, 2)),))
    made = as_json(record(notes))
    Draft202012Validator(SCHEMA).validate(made)
    assert made["readings"][0]["value"] == "30.0", "as said, with its precision"


def test_ucum_codes_in_records_parse() -> None:
    """Judge: ucumvert, with UCUM essence 2.2."""
    from ucumvert import get_ucum_parser

    parser = get_ucum_parser()
    for item in as_json(VARIANTS["full"])["readings"]:
        if item["ucum"]:
            parser.parse(item["ucum"])


def test_json_is_one_object_or_a_list() -> None:
    full = VARIANTS["full"]
    assert isinstance(json.loads(to_json(full)), dict)
    assert len(json.loads(to_json([full, full]))) == 2
    assert json.loads(to_json([])) == []


def test_odd_words_are_kept() -> None:
    said = read_text("müll \u4e2d\u6587 </script> 12".encode())
    made = make_record(said, Notes(), check(Notes(), None))
    assert [word["text"] for word in as_json(made)["words"]] == ["müll", "中文", "script", "12"]
