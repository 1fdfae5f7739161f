"""The printed forms of a record: order, honesty about what is missing, safe HTML."""

import html
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from test_record import NOTES, SHEET, VARIANTS, record, transcript

from talklog.bands import parse_bands
from talklog.check import check
from talklog.new_record import make_record
from talklog.notes import Due, Finding, FollowUp, Notes
from talklog.record import BandRef
from talklog.report import html_report, limits, make_sheet, quantity, text_report
from talklog.typed import read_text

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Page(HTMLParser):
    """Text of a page with its headings, and every attribute that could fetch something."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self.texts: list[str] = []
        self.feed(page)
        assert not self.open, f"never closed: {self.open}"

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.links += [value for key, value in attrs if key in ("src", "href", "action", "data")]
        assert not any(key.startswith("on") for key, _ in attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data) -> None:
        if self.open[-1:] != ["style"]:
            self.texts.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        return " ".join(filter(None, self.texts))


@pytest.mark.parametrize("made", VARIANTS.values(), ids=VARIANTS)
def test_page_is_one_closed_document_that_fetches_and_runs_nothing(made) -> None:
    page = html_report(made, name="heron.flac")
    parsed = Page(page)
    assert page.lstrip().startswith("<!DOCTYPE html>")
    assert not parsed.links
    assert not {"script", "link", "img", "iframe", "object"} & set(parsed.tags)
    assert not re.search(r"url\(|@import|https?:|javascript:", page)
    assert "size: A4" in page


def headings(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.isupper() and not line.startswith(" ")]


def test_text_shows_first_what_is_out_of_band_then_what_is_unsure() -> None:
    found = headings(text_report(VARIANTS["full"]))
    assert found[1:5] == [
        "OUT OF BAND, OR MISSING",
        "NOT SURE: PLEASE CHECK",
        "READINGS",
        "WORK",
    ]


def test_page_has_the_same_order() -> None:
    text = Page(html_report(VARIANTS["full"])).text
    titles = ["Out of band", "Not sure", "Readings", "Work", "Cautions", "Signature", "SHA-256"]
    places = [text.rindex(title) for title in titles]
    assert places == sorted(places)


@pytest.mark.parametrize("make", [text_report, lambda r, **k: Page(html_report(r, **k)).text])
def test_everything_in_the_record_is_on_paper(make) -> None:
    made = VARIANTS["full"]
    paper = " ".join(make(made, name="heron.flac").split())
    wanted = ["Heron", "412 h", "engine card", "heron.flac", made.source.sha256, made.id, "vosk"]
    wanted += ["65 lbf·ft", "≈ 88.128 N·m", "at least 100 N·m", "12 thou", "= 0.3048 mm"]
    wanted += ["0.20 to 0.30 mm", "HIGH", "LOW", "in band", "UNSURE", "8 (no unit said)"]
    wanted += ["fit gasket", "2 × gasket", "worn", "change belt", "in 50 h", "maybe 8"]
    wanted += ["a quoted limit", "book says 0.25", "as found", "0:05", "2026-11-25 17:05:09-03:30"]
    wanted += [caution.text for caution in made.cautions]
    assert [text for text in wanted if text not in paper] == []


def test_a_question_says_what_the_value_was_taken_for() -> None:
    made = VARIANTS["full"]
    reading = next(r for r in made.readings if r.verdict == "unsure")
    asked = [made.unsure[0].model_copy(update={"words": reading.words})]
    text = text_report(made.model_copy(update={"unsure": asked}))
    told = text[text.index("NOT SURE") : text.index("READINGS")]
    assert f"({reading.component}" in told and reading.quantity in told


def test_questions_that_follow_for_one_reason_are_asked_once() -> None:
    made = VARIANTS["full"]
    one = made.unsure[0]
    asked = [one, one.model_copy(update={"heard": "nine"}), one.model_copy(update={"why": "Else."})]
    text = text_report(made.model_copy(update={"unsure": asked}))
    told = text[text.index("NOT SURE") : text.index("READINGS")]
    assert f"“{one.heard}”" in told and "“nine”" in told and "Else." in told
    assert told.count(one.why.split(".")[0]) == 1


# 14 CFR 43.9(a), 49 CFR 396.3(b) and NZ CAR 43.69(a), read in reprints: what a record must hold.
MUST_HOLD = ["Machine", "Work finished on", "Done by", "Limits taken from", "Reason for the work"]
MUST_HOLD += ["Work", "Readings", "Still to do", "Parts", "Found", "Meter"]


@pytest.mark.parametrize("field", MUST_HOLD)
@pytest.mark.parametrize("make", [text_report, lambda r: Page(html_report(r)).text])
def test_what_was_not_said_is_shown_as_not_said(make, field: str) -> None:
    paper = " ".join(make(VARIANTS["empty"]).split())
    assert re.search(rf"{field} not said", paper, re.IGNORECASE), field


def test_a_full_record_says_not_said_only_of_what_it_never_looks_for() -> None:
    head = dict(make_sheet(VARIANTS["full"]).head)
    unknown = {label for label, value in head.items() if value.startswith("not said")}
    assert unknown == {"Work finished on", "Reason for the work", "Done by"}


@pytest.mark.parametrize("make", [text_report, html_report])
def test_no_number_comes_from_nowhere(make) -> None:
    """Every number of a report stands in the record (or is a time, a rank or five digits of SI)."""
    made = VARIANTS["full"]
    known = set(re.findall(r"\d+(?:\.\d+)?", made.model_dump_json()))
    known |= {"88.128", "256"}  # 88.1281666... rounded for reading; the digest's own name
    paper = make(made) if make is text_report else Page(make(made)).text
    paper = re.sub(r"\b\d+:\d\d\b", "", paper.replace("2026-11-25 17:05:09-03:30", ""))
    assert set(re.findall(r"\d+(?:\.\d+)?", paper)) <= known


HOSTILE = "<script>alert(1)</script>&\"'{{7*7}}"


def test_markup_in_names_and_words_is_shown_as_text() -> None:
    sheet = parse_bands(f"[machine]\nkey = 'x'\nname = '''{HOSTILE}'''")
    notes = replace(NOTES, findings=(Finding(HOSTILE, HOSTILE, 21, 22),))
    page = html_report(record(notes, sheet=sheet), name=HOSTILE)
    assert "<script" not in page and "49" not in Page(page).text.split()
    assert HOSTILE in html.unescape(page)


def test_a_put_right_finding_comes_after_what_must_be_stopped_for() -> None:
    leads = [item.lead for item in make_sheet(VARIANTS["full"]).first]
    assert leads == ["STOP", "NOTE"]


def test_an_unsure_reading_stands_only_in_its_own_place() -> None:
    sheet = make_sheet(VARIANTS["full"])
    assert [item.text for item in sheet.unsure] == ["“maybe 8” (not said: gap)"]
    assert not any("not said" in item.text for item in sheet.first)


def test_what_was_expected_and_not_heard_comes_first() -> None:
    text = "[machine]\nkey='v'\nname='Van'\n[[expect]]\nquantity='pressure'\ncomponent='tyre'\n"
    sheet = parse_bands(text + "positions=['front left', 'spare']\n")
    (item,) = make_sheet(record(Notes(), sheet=sheet)).first
    assert (item.lead, item.text) == ("LOOK", "tyre: pressure")
    assert "spare" in item.detail


# BIPM SI Brochure (8th edition) 5.3.3: space before the symbol, also before the one for degree
# Celsius; none before the sign of the plane angle.
@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        ("30.2", "degC", "30.2 °C"),
        ("15", "deg", "15°"),
        ("50", "percent", "50 %"),
        ("110", "N.m", "110 N·m"),
        ("12", "thou", "12 thou"),
        ("4.7", "kohm", "4.7 kΩ"),
        ("0.080", "mm", "0.080 mm"),
        ("8", None, "8 (no unit said)"),
    ],
)
def test_values_are_printed_by_the_si_rules(value, unit, expected) -> None:
    assert quantity(value, unit) == expected


def band(**more) -> BandRef:
    empty = {"low": None, "high": None, "high_open": False, "unit": "mm", "condition": None}
    return BandRef(**{**empty, "source": "s", "authority": None, "critical": False, **more})


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (band(low="0.20", high="0.30"), "0.20 to 0.30 mm"),
        (band(low="1.6"), "at least 1.6 mm"),
        (band(high="2"), "at most 2 mm"),
        (band(low="9.3", high="12.5", high_open=True, unit="cSt"), "9.3 to below 12.5 cSt"),
        (band(low="4", high="4", unit=None), "4 to 4"),
        (band(low="4", unit=None), "at least 4"),
    ],
)
def test_limits_as_printed(given, expected) -> None:
    assert limits(given) == expected


def test_gauge_shows_where_the_value_lies() -> None:
    gauges = [line.gauge for line in make_sheet(VARIANTS["full"]).readings]
    # 0.3048 mm on 0.20..0.30 drawn at 25..75: 25 + 1.048 * 50; 0.254 mm: 25 + 0.54 * 50
    assert gauges == [77, 52, None, None]


@pytest.mark.parametrize(
    ("due", "shown"),
    [
        (Due(event="before the rally"), "before the rally"),
        (Due(distance=("5000", "mi")), "in 5000 mi"),
        (Due(duration="P6M"), "in 6 months"),
        (Due(duration="P1Y2M"), "in 1 year 2 months"),
        (Due(duration="P2W"), "in 2 weeks"),
        (Due(duration="PT1H30M"), "in 1 hour 30 minutes"),
        (Due(date="2027-03-01"), "on 2027-03-01"),
        (None, ""),
    ],
)
def test_due(due, shown) -> None:
    notes = replace(NOTES, follow_ups=(FollowUp("change belt", None, due, 23, 27),))
    assert make_sheet(record(notes)).follow_ups[0].lead == shown


def test_text_keeps_its_width() -> None:
    long = read_text(("very long remark " * 40).encode())
    notes = Notes(findings=(Finding("drive belt", "very long remark " * 20, 0, 50),))
    text = text_report(make_record(long, notes, check(notes, SHEET), machine=SHEET.machine))
    assert max(map(len, text.splitlines())) <= 88
    assert text.replace("\n", "").isprintable()


def test_times_are_minutes_and_seconds() -> None:
    said = transcript()
    late = replace(said, words=tuple(replace(w, start=w.start + 600) for w in said.words))
    made = make_record(late, NOTES, check(NOTES, None))
    assert make_sheet(made).readings[0].when == "10:01"
