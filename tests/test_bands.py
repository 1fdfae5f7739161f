"""Band sheets: strict reading, every problem named with its entry."""

from __future__ import annotations

import os
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog.bands import (
    MAX_BYTES,
    Band,
    find_problems,
    load_bands,
    parse_bands,
    plain_words,
)
from talklog.errors import DataFileError

MACHINE = '[machine]\nkey = "lathe-1"\nname = "Bench lathe"\n'
BAND = """
[[band]]
quantity = "runout"
component = "chuck"
low = 0
high = 0.030
unit = "mm"
source = "works card"
"""
FULL = """
[machine]
key = "nb-1"
name = "Narrowboat engine"
kind = "diesel"
notes = ""
authority = "maker"

[[band]]
quantity = "clearance"
component = "inlet valve"
also = ["inlet tappet"]
position = "cylinder 1"
condition = "cold"
low = 0.20
high = 0.30
unit = "mm"
source = "handbook p. 12"
caution = "Engine off and cold."
critical = true
authority = "maker"
high_open = false

[[expect]]
quantity = "clearance"
component = "inlet valve"
positions = ["cylinder 1", "cylinder 2"]

[[expect]]
quantity = "pressure"
component = "tyre"
count = 6
"""


def problems(text: str) -> str:
    with pytest.raises(DataFileError) as caught:
        parse_bands(text)
    return str(caught.value)


def test_full_sheet() -> None:
    sheet = parse_bands(FULL)
    assert sheet.machine.authority == "maker"
    band = sheet.bands[0]
    assert isinstance(band, Band)
    assert (band.low, band.high) == (Decimal("0.20"), Decimal("0.30"))
    assert str(band.low) == "0.20"
    assert band.critical and not band.high_open and band.also == ("inlet tappet",)
    assert [expect.count for expect in sheet.expects] == [None, 6]


def test_numbers_are_taken_as_written_not_as_floats() -> None:
    assert parse_bands(MACHINE + BAND).bands[0].high == Decimal("0.030")


# sheet text -> what must be said about it
WRONG = {
    "no machine": (BAND, "[machine] table with key and name is needed"),
    "no name": ('[machine]\nkey = "x"', "machine: name is missing"),
    "unknown top key": (MACHINE + '[[bands]]\nquantity = "gap"', "did you mean band?"),
    "unknown machine key": (MACHINE + "colour = 1", "allowed are key, name, kind, notes"),
    "unknown band key": (MACHINE + BAND + "hihg = 3", "band 1: unknown key 'hihg' (did you mean"),
    "unknown expect key": (MACHINE + "[[expect]]\nx = 1", "allowed are quantity, component"),
    "single brackets": (MACHINE + '[band]\nquantity = "gap"', "two brackets"),
    "wrong quantity": (MACHINE + BAND.replace("runout", "runnout"), "did you mean runout?"),
    "wrong unit": (MACHINE + BAND.replace('"mm"', '"MM"'), "is no unit"),
    "spoken unit": (MACHINE + BAND.replace('"mm"', '"millimetres"'), "is no unit"),
    "unit of another kind": (
        MACHINE + BAND.replace('"mm"', '"N.m"'),
        "N.m does not measure runout",
    ),
    "force for torque": (
        MACHINE + BAND.replace("runout", "torque").replace('"mm"', '"N"'),
        "N does not measure torque; units for it are N.m, lbf.ft",
    ),
    "no unit": (MACHINE + BAND.replace('unit = "mm"', ""), "unit is missing"),
    "no source": (MACHINE + BAND.replace('source = "works card"', ""), "source is missing"),
    "no limits": (
        MACHINE + BAND.replace("low = 0\n", "").replace("high = 0.030", ""),
        "neither low nor high",
    ),
    "crossed": (MACHINE + BAND.replace("low = 0", "low = 0.05"), "low 0.05 is above high 0.030"),
    "text limit": (MACHINE + BAND.replace("0.030", '"0.030"'), "number without quotes"),
    "true limit": (MACHINE + BAND.replace("0.030", "true"), "number without quotes"),
    "infinite": (MACHINE + BAND.replace("0.030", "inf"), "everyday number"),
    "nan": (MACHINE + BAND.replace("0.030", "nan"), "everyday number"),
    "huge": (MACHINE + BAND.replace("0.030", "1e400"), "everyday number"),
    "5000 digits": (MACHINE + BAND.replace("0.030", "9" * 5000), "not valid TOML"),
    "critical as text": (MACHINE + BAND + 'critical = "yes"', "true or false"),
    "empty component": (MACHINE + BAND.replace('"chuck"', '" "'), "must have 1 to"),
    "long text": (MACHINE + BAND.replace('"chuck"', f'"{"x" * 3000}"'), "must have 1 to"),
    "control characters": (MACHINE + BAND.replace('"chuck"', '"a\\u0007b"'), "control characters"),
    "open without high": (
        MACHINE + BAND.replace("high = 0.030", "high_open = true"),
        "high_open needs a high limit",
    ),
    "open and empty": (
        MACHINE + BAND.replace("low = 0", "low = 0.030") + "high_open = true",
        "nothing lies between",
    ),
    "said twice": (MACHINE + BAND + BAND, "band 2: says again what band 1 is for"),
    "said twice in other words": (
        MACHINE + BAND + BAND.replace('"chuck"', '"Chucks"'),
        "band 2: says again",
    ),
    "rivals": (
        MACHINE + BAND + 'authority = "maker"\n' + BAND + 'authority = "club"',
        "bands 1, 2: several authorities; say in [machine] authority which one counts",
    ),
    "unknown authority": (MACHINE + 'authority = "maker"\n' + BAND, "is named by no band"),
    "expect nothing": (
        MACHINE + '[[expect]]\nquantity = "gap"\ncomponent = "plug"',
        "expect 1: give either positions or count",
    ),
    "expect both": (
        MACHINE + '[[expect]]\nquantity="gap"\ncomponent="plug"\ncount=1\npositions=["1"]',
        "expect 1: give either positions or count",
    ),
    "expect none": (
        MACHINE + '[[expect]]\nquantity = "gap"\ncomponent = "plug"\ncount = 0',
        "whole number from 1",
    ),
    "expect twice": (
        MACHINE + 2 * '[[expect]]\nquantity = "gap"\ncomponent = "plug"\ncount = 4\n',
        "expect 2: the same as expect 1",
    ),
    "not TOML": ("inlet 0.2 to 0.3", "not valid TOML"),
    "empty": ("", "[machine] table"),
    "deeply nested": ("x = " + "[" * 100_000, "not valid TOML"),
}


@pytest.mark.parametrize("name", WRONG)
def test_refused(name: str) -> None:
    text, said = WRONG[name]
    assert said in problems(text)


def test_all_problems_at_once(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_text(
        MACHINE
        + BAND.replace("runout", "runnout")
        + BAND.replace('"mm"', '"N.m"').replace("low = 0", "low = 9"),
        "utf-8",
    )
    found = find_problems(path)
    assert [text.split(":")[0] for text in found] == ["band 1", "band 2", "band 2"]
    with pytest.raises(DataFileError, match=r"sheet\.toml: band 1: .*\nsheet\.toml: band 2: "):
        load_bands(path)


def test_good_file(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.encode())  # with a byte order mark
    assert find_problems(path) == ()
    assert load_bands(path) == parse_bands(FULL)


def test_authority_settles_rivals() -> None:
    rivals = BAND + 'authority = "maker"\n' + BAND + 'authority = "club"'
    assert len(parse_bands(MACHINE + 'authority = "club"\n' + rivals).bands) == 2


def test_count_needs_no_unit() -> None:
    text = BAND.replace("runout", "count").replace('unit = "mm"', "")
    assert parse_bands(MACHINE + text).bands[0].unit is None


def test_hostile_files(tmp_path: Path) -> None:
    (tmp_path / "latin").write_bytes(b'[machine]\nname = "caf\xe9"')
    (tmp_path / "big").write_bytes(b"#" * (MAX_BYTES + 1))
    (tmp_path / "nul").write_bytes(b"\0" * 100)
    said = {name: find_problems(tmp_path / name)[0] for name in ("latin", "big", "nul", "none", "")}
    assert "not UTF-8" in said["latin"]
    assert "larger than" in said["big"]
    assert "not valid TOML" in said["nul"]
    assert "cannot be read" in said["none"]
    assert "cannot be read" in said[""]


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="no endless device here")
def test_endless_file() -> None:
    assert "larger than" in find_problems(Path("/dev/zero"))[0]


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Drive-Belts", "drive belt"),
        ("brushes", "brush"),
        ("glass", "glass"),
        ("batteries", "battery"),
        ("gas", "gas"),
        ("bus bar", "bus bar"),
        ("Inlet valves", "inlet valve"),
    ],
)
def test_plain_words(text: str, plain: str) -> None:
    assert " ".join(plain_words(text)) == plain


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(FULL.splitlines()), st.text(max_size=20))
def test_any_damage_is_named_or_harmless(line: str, junk: str) -> None:
    text = FULL.replace(line, junk, 1) if line else FULL + junk
    try:
        parse_bands(text)
    except DataFileError as error:
        assert str(error).strip()
