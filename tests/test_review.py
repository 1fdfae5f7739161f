"""The review page in process: order, corrections, signing, sound, and what it refuses.

Facts: HTTP ranges by RFC 9110, section 14; contrast by WCAG 2.1, success criterion 1.4.3.
"""

import hashlib
import io
import re
import time
import wave
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient
from test_record import NOTES, SHEET, record

from talklog.corrections import is_looked_at
from talklog.errors import TextError
from talklog.logbook.store import Logbook
from talklog.notes import Notes
from talklog.record import ServiceRecord
from talklog.web.drawings import Spot, plot
from talklog.web.frame import Workshop
from talklog.web.intake import read_note, take_recording
from talklog.web.items import shown
from talklog.web.safety import FORM_BYTES, Guard, names_of
from talklog.web.site import make_site
from talklog.web.sound import SoundStore

HOME = "http://127.0.0.1:8765"
OWN = {"Origin": HOME}
EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
SECONDS = 16


class Bench:
    """A book with one entry, its page, and a browser without JavaScript."""

    def __init__(self, folder: Path) -> None:
        self.book = Logbook.open(folder / "book.db")
        self.recording = folder / "heron.flac"
        tone = 0.3 * np.sin(np.arange(SECONDS * 16000) / 10)
        soundfile.write(self.recording, tone, 16000)
        sounds = folder / "sounds"
        sounds.mkdir()
        self.taken: list[Path] = []
        self.guard = Guard(names_of("127.0.0.1", 8765), upload_bytes=400_000)
        self.sheet = None
        self.shop = Workshop(
            book=self.book,
            sounds=SoundStore(sounds),
            guard=self.guard,
            take=self._take,
            read=lambda text, machine: record(audio=False),
            sheet_of=lambda _: self.sheet,
            machine_keys=lambda: ("heron",),
        )
        self.web = TestClient(make_site(self.shop), base_url=HOME, follow_redirects=False)
        self.number = self.add(record())

    def add(self, made: ServiceRecord) -> int:
        sha = hashlib.sha256(self.recording.read_bytes()).hexdigest()
        source = made.source.model_copy(update={"sha256": sha})
        made = made.model_copy(update={"source": source})
        return self.book.add(made, audio=self.recording, name="heron.flac").id

    def _take(self, path: Path, *, name: str, machine: str | None) -> ServiceRecord:
        self.taken.append(path)
        if path.read_bytes()[:4] != b"fLaC":
            raise TextError(f"{name}: is not a recording that talklog knows.")
        made = record()
        source = made.source.model_copy(
            update={"sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
        )
        return made.model_copy(update={"source": source, "id": made.id[:-1] + "0"})

    @property
    def at(self) -> str:
        return f"/entries/{self.number}"

    def post(self, target: str, *, headers=OWN, **fields: str):
        fields = {"token": self.guard.token, **fields}
        return self.web.post(target, data=fields, headers=headers)

    def correct(self, *, revision: int = 1, **fields: str):
        known = {"revision": str(revision), "kind": "correct", "group": "readings", "index": "1"}
        return self.post(f"{self.at}/correct", **known | {"who": "Ada", "slug": "r1"} | fields)

    def entry(self):
        return self.book.entry(self.number)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.book.close()


class Page(HTMLParser):
    """Tags with their attributes, texts in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data) -> None:
        self.text += data

    def every(self, *names: str) -> list[dict]:
        return [attrs for tag, attrs in self.tags if tag in names]


def pages(bench: Bench) -> list[str]:
    line = "component=inlet%20valve&quantity=clearance"
    return ["/", bench.at, "/machines", "/machine?key=heron", f"/history?key=heron&{line}", "/due",
            "/search?q=valve", "/take", "/entries/777", "/nothing"]  # fmt: skip


# ---- what is shown -------------------------------------------------------------------------------


def test_first_what_is_out_of_band_then_what_is_unsure_then_the_rest(bench: Bench) -> None:
    page = Page(bench.web.get(bench.at).text)
    wanted = [
        "Out of band",
        "Not sure",
        "Other readings",
        "Work",
        "Parts",
        "Sign",
        "What was chang",
    ]
    places = [page.text.index(text) for text in wanted]
    assert places == sorted(places)
    slugs = [tag["id"] for tag in page.every("article")]
    assert slugs[0] in ("r0", "r2") and slugs.index("r0") < slugs.index("r3") < slugs.index("r1")


def test_every_item_plays_its_own_seconds(bench: Bench) -> None:
    """Words are 0.4 s apart; reading 1 is words 8 to 12, so 3.2 to 5.1 s, with 0.35 s around."""
    page = Page(bench.web.get(bench.at).text)
    sources = [tag["src"] for tag in page.every("audio")]
    assert f"{bench.at}/sound/2850-5450.wav" in sources
    sound = bench.web.get(f"{bench.at}/sound/2850-5450.wav")
    with wave.open(io.BytesIO(sound.content)) as heard:
        assert (heard.getframerate(), heard.getnchannels()) == (16000, 1)
        assert heard.getnframes() == round(2.6 * 16000)
    drawing = bench.web.get(f"{bench.at}/wave/3200-5100.svg")
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert drawing.text.count("<rect") == 2


def test_typed_notes_have_no_sound_and_can_be_corrected(bench: Bench) -> None:
    made = record(audio=False)
    made = made.model_copy(update={"id": made.id[:-1] + "1"})
    bench.number = bench.book.add(made, audio=None, name="typed").id
    assert not Page(bench.web.get(bench.at).text).every("audio", "img")
    assert bench.web.get(f"{bench.at}/sound.wav").status_code == 404
    assert bench.correct(value="11").status_code == 303


def test_every_reading_is_shown_once() -> None:
    made = record()
    every = [(item.group, item.index) for item in shown(made).everything]
    assert len(every) == len(set(every))
    assert {i for group, i in every if group == "readings"} == set(range(len(made.readings)))


@pytest.mark.parametrize("form", ["json", "txt", "html"])
def test_the_record_can_be_had_as_a_file(bench: Bench, form: str) -> None:
    answer = bench.web.get(f"{bench.at}/record.{form}")
    assert answer.status_code == 200 and "inlet valve" in answer.text
    assert form != "html" or "attachment" in answer.headers["content-disposition"]


def test_history_keeps_places_apart_and_draws_in_the_unit_of_the_limits(bench: Bench) -> None:
    """12 and 10 thou are 0.3048 and 0.254 mm; the limits are 0.20 to 0.30 mm."""
    page = Page(bench.web.get("/machine?key=heron").text)
    targets = [tag["href"] for tag in page.every("a") if tag["href"].startswith("/history")]
    assert len(targets) == len(set(targets)) == 3
    drawn = next(t for t in targets if "inlet%20valve" in t)
    page = Page(bench.web.get(drawn).text)
    (svg,) = page.every("svg")
    assert "inlet valve" in svg["aria-label"]
    assert len(page.every("circle")) == 1  # 10 thou, in band
    assert len(page.every("rect")) == 1  # 12 thou, out of band: another shape
    assert "high limit 0.3" in page.text and "low limit 0.2" in page.text
    bench.correct(position="cylinder 2")
    apart = Page(bench.web.get("/machine?key=heron").text)
    assert "inlet valve, cylinder 2: clearance" in apart.text


# ---- correcting and signing ----------------------------------------------------------------------


def test_a_correction_is_a_new_revision_with_who_and_what_was_heard(bench: Bench) -> None:
    answer = bench.correct(value="14", unit="thou")
    assert answer.status_code == 303 and answer.headers["location"].startswith(f"{bench.at}#")
    entry = bench.entry()
    assert entry.revisions == 2
    assert (entry.record.readings[1].value, entry.record.readings[1].verdict) == ("14", "high")
    last = bench.book.revisions(bench.number)[-1]
    assert last.who == "Ada" and "value 10 to 14" in last.what
    assert entry.record.readings[1].heard in last.what
    assert bench.book.record(bench.number, 1).readings[1].value == "10"
    assert "value 10 to 14" in Page(bench.web.get(bench.at).text).text


def test_the_name_is_remembered_and_must_be_given(bench: Bench) -> None:
    assert bench.correct(value="14", who="").status_code == 400
    assert bench.entry().revisions == 1
    answer = bench.post("/who", who="Ada B. Gauge", back=bench.at)
    assert answer.headers["location"] == bench.at
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert bench.correct(value="14", who="").status_code == 303
    assert bench.book.revisions(bench.number)[-1].who == "Ada B. Gauge"


@pytest.mark.parametrize("back", ["//evil.test", "https://evil.test/", "/entries/1/../../x", ""])
def test_nobody_is_sent_to_another_site(bench: Bench, back: str) -> None:
    assert bench.post("/who", who="Ada", back=back).headers["location"] == "/"


def test_accept_goes_on_to_the_next_open_item_and_at_last_to_the_signature(bench: Bench) -> None:
    seen = set()
    for revision in range(1, 12):
        left = shown(bench.entry().record).left
        if not left:
            break
        item = left[0]
        assert item.slug not in seen or item.group == "unsure"
        kind = "accept" if "accept" in item.kinds else "dismiss"
        answer = bench.correct(
            revision=revision, kind=kind, group=item.group, index=str(item.index), slug=item.slug
        )
        assert answer.status_code == 303, answer.text
        seen.add(item.slug)
    assert answer.headers["location"] == f"{bench.at}#sign"
    assert any(map(is_looked_at, bench.entry().record.readings))


def test_signing_seals_and_later_changes_are_amendments(bench: Bench) -> None:
    sign = f"{bench.at}/sign"
    assert bench.post(sign, who="Ada", revision="1").status_code == 400  # items are open
    assert bench.post(sign, who="Ada", revision="1", anyway="yes").status_code == 303
    entry = bench.entry()
    assert entry.sealed and not entry.amended
    (seal,) = bench.book.seals(bench.number)
    assert seal.sha256 in bench.web.get(bench.at).text
    assert bench.correct(value="11").status_code == 303
    assert bench.entry().amended
    assert "(amendment)" in Page(bench.web.get(bench.at).text).text


def test_of_two_windows_the_second_is_told(bench: Bench) -> None:
    assert bench.correct(value="11").status_code == 303
    late = bench.correct(value="9")
    assert late.status_code == 409
    assert "changed meanwhile" in Page(late.text).text
    assert bench.entry().record.readings[1].value == "11"
    assert bench.post(f"{bench.at}/sign", who="A", revision="1", anyway="yes").status_code == 409


def test_a_writer_in_between_is_noticed_too(bench: Bench, monkeypatch) -> None:
    """Somebody writes after the page was checked and before the book was."""
    entry = bench.entry()
    bench.book.revise(
        bench.number, entry.record, who="Bo", what="meanwhile", base_revision=entry.revisions
    )
    real, stale = bench.book.entry, [entry]
    monkeypatch.setattr(bench.book, "entry", lambda n: stale.pop() if stale else real(n))
    assert bench.correct(value="11").status_code == 409


@pytest.mark.parametrize(
    "fields",
    [
        {"value": "0,25"},
        {"unit": "furlong"},
        {"index": "99"},
        {"index": "-1"},
        {"kind": "explode"},
        {"group": "words"},
        {"revision": "x"},
        {"who": "x" * 90},
    ],
)
def test_corrections_without_sense_are_told_and_change_nothing(bench: Bench, fields) -> None:
    answer = bench.correct(**{"value": "11"} | fields)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert bench.entry().revisions == 1


def test_with_the_sheet_a_thing_named_anew_is_judged_by_its_own_band(bench: Bench) -> None:
    bench.sheet = SHEET
    bench.correct(index="3", value="120", unit="N.m", component="head bolt", quantity="torque")
    assert bench.entry().record.readings[3].verdict == "in_band"


def test_due_items_can_be_marked_done(bench: Bench) -> None:
    page = Page(bench.web.get("/due").text)
    fields = {tag["name"]: tag.get("value") for tag in page.every("input") if "name" in tag}
    answer = bench.post("/due/done", entry=fields["entry"], place=fields["place"], who="Ada")
    assert answer.status_code == 303
    assert "Nothing is open" in bench.web.get("/due").text


# ---- the way in ----------------------------------------------------------------------------------


def upload(bench: Bench, name: str, data: bytes):
    return bench.web.post(
        "/take",
        data={"token": bench.guard.token, "machine": "heron"},
        files={"recording": (name, data)},
        headers=OWN,
    )


def test_an_upload_becomes_an_entry_under_a_name_of_our_own(bench: Bench) -> None:
    answer = upload(bench, "../../etc/Evil <b>.flac", bench.recording.read_bytes())
    assert answer.status_code == 303
    entry = bench.book.entry(int(answer.headers["location"].rpartition("/")[2]))
    assert entry.name == "Evil <b>.flac"
    assert bench.taken[0].name == "note.flac" and not bench.taken[0].exists()
    assert bench.book.audio_path(entry.id).read_bytes() == bench.recording.read_bytes()


def test_a_file_that_is_no_recording_is_told_by_its_name(bench: Bench) -> None:
    answer = upload(bench, "notes.zip", b"PK\x03\x04" + b"\0" * 1000)
    assert answer.status_code == 400
    assert "notes.zip: is not a recording" in Page(answer.text).text
    assert len(bench.book.entries()) == 1


def test_a_typed_note_becomes_an_entry(bench: Bench) -> None:
    assert bench.post("/take", note="inlet gap 0.25 mm", machine="").status_code == 303
    assert bench.post("/take", note="x", machine="../other").status_code == 400
    assert bench.post("/take", note=" ").status_code == 400


def test_the_program_itself_reads_notes_and_tells_what_it_cannot_read(tmp_path: Path) -> None:
    made = read_note("rear tyre pressure 2.2 bar", machine=None)
    assert [(one.value, one.unit) for one in made.readings] == [("2.2", "bar")]
    path = tmp_path / "note.flac"
    path.write_bytes(b"no sound")
    with pytest.raises(TextError) as told:
        take_recording(path, name="mine.flac", machine=None)
    assert str(told.value).startswith("mine.flac: is not a recording")
    assert str(tmp_path) not in str(told.value)


def test_uploads_are_limited_by_what_they_claim_and_by_what_they_send(bench: Bench) -> None:
    claim = {**OWN, "Content-Length": "10000000000"}
    assert bench.web.post("/take", content=b"x", headers=claim).status_code == 413
    assert upload(bench, "a.flac", b"x" * 500_000).status_code == 413
    kind = {"Content-Type": "multipart/form-data; boundary=b"}

    def unending() -> Iterator[bytes]:  # sent in chunks, without a length
        yield b'--b\r\nContent-Disposition: form-data; name="recording"; filename="a"\r\n\r\n'
        for _ in range(20):
            yield b"x" * 50_000

    assert bench.web.post("/take", content=unending(), headers=OWN | kind).status_code == 413
    big = {"note": "x" * (FORM_BYTES + 1)}
    assert bench.web.post(f"{bench.at}/correct", data=big, headers=OWN).status_code == 413
    assert not bench.taken


# ---- what is refused -----------------------------------------------------------------------------


def test_every_answer_has_the_headers_and_nothing_inline(bench: Bench) -> None:
    for target in [*pages(bench), "/static/page.js", f"{bench.at}/sound.wav"]:
        answer = bench.web.get(target)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        if answer.headers["content-type"].startswith("text/html"):
            page = Page(answer.text)
            assert all("src" in tag for tag in page.every("script"))
            assert not page.every("style", "iframe", "object")
            for _, attrs in page.tags:
                assert not any(name.startswith("on") or name == "style" for name in attrs)
                for name in ("src", "action"):
                    assert attrs.get(name, "/").startswith("/")


@pytest.mark.parametrize("host", ["evil.test", "127.0.0.1:1", "127.0.0.1", "localhost.evil.test"])
def test_other_names_of_this_machine_are_refused(bench: Bench, host: str) -> None:
    assert bench.web.get("/", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost:8765", "[::1]:8765", "LOCALHOST:8765"])
def test_own_names_are_let_in(bench: Bench, host: str) -> None:
    assert bench.web.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "http://evil.test"},
        {"Origin": "https://127.0.0.1:8765"},
        {**OWN, "Sec-Fetch-Site": "cross-site"},
    ],
)
def test_forms_of_other_pages_are_refused(bench: Bench, headers) -> None:
    answer = bench.post(f"{bench.at}/sign", headers=headers, who="A", revision="1", anyway="yes")
    assert answer.status_code == 403
    assert not bench.entry().sealed


@pytest.mark.parametrize("target", ["/who", "/take", "/due/done", "/entries/1/correct"])
@pytest.mark.parametrize("token", ["", "wrong", "é"])
def test_forms_without_our_token_are_refused(bench: Bench, target: str, token: str) -> None:
    answer = bench.post(target, token=token, who="Ada", note="x")
    assert answer.status_code == 403 and "restart" in answer.text
    assert bench.entry().revisions == 1


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(bench: Bench, method: str) -> None:
    assert bench.web.request(method, bench.at).status_code == 405


@pytest.mark.parametrize(
    "target",
    [
        "/static/..%2f..%2f..%2fetc%2fpasswd",
        "/static/../frame.py",
        "/static/%2e%2e/frame.py",
        "/entries/..%2f1",
        "/entries/1/record.py",
        "/entries/1/record.html/../../x",
        "/entries/99999999999999999999",
        "/entries/1/sound/9-1.wav",
        "/entries/1/sound/0-99999999999999999999.wav",
        "/machine?key=../../etc",
        "/?machine=../../etc",
        "/history?key=heron&component=%00&quantity=x",
    ],
)
def test_no_part_of_an_address_becomes_a_path(bench: Bench, target: str) -> None:
    assert bench.web.get(target).status_code == 404


def test_nothing_in_a_record_runs_in_the_page(bench: Bench) -> None:
    bad = replace(NOTES.readings[0], component=EVIL, position=EVIL)
    made = record(Notes((bad, *NOTES.readings[1:])))
    made = made.model_copy(
        update={
            "id": made.id[:-1] + "2",
            "machine": made.machine.model_copy(update={"key": EVIL, "name": EVIL}),
        }
    )
    bench.number = bench.book.add(made, audio=None, name=EVIL).id
    bench.correct(who=EVIL[:40], component=EVIL[:40])
    targets = [*pages(bench), bench.at]
    query = {"key": EVIL, "component": EVIL, "quantity": "clearance", "q": "alert"}
    for target in targets:
        for answer in (bench.web.get(target), bench.web.get(target.split("?")[0], params=query)):
            assert "<img src=x" not in answer.text
            assert "<script>" not in answer.text
    told = plot([Spot(date(2026, 1, 2), 1.0, True, EVIL)], title=EVIL, unit=EVIL, low=0, high=2)
    assert "<script>" not in told


# ---- sound by ranges -----------------------------------------------------------------------------


def test_ranges_give_the_same_bytes_as_the_whole(bench: Bench) -> None:
    target = f"{bench.at}/sound.wav"
    whole = bench.web.get(target)
    assert whole.status_code == 200 and whole.headers["accept-ranges"] == "bytes"
    size = len(whole.content)
    assert size == 44 + SECONDS * 32000 == int(whole.headers["content-length"])
    cases = [("0-9", 0, 9), ("40-99", 40, 99), (f"{size - 5}-", size - 5, size - 1)]
    cases += [("-7", size - 7, size - 1), (f"100-{size * 9}", 100, size - 1)]
    for asked, first, last in cases:
        part = bench.web.get(target, headers={"Range": f"bytes={asked}"})
        assert part.status_code == 206
        assert part.headers["content-range"] == f"bytes {first}-{last}/{size}"
        assert part.content == whole.content[first : last + 1]


@pytest.mark.parametrize("asked", ["bytes=99999999-", "bytes=-0"])
def test_ranges_out_of_reach_are_told(bench: Bench, asked: str) -> None:
    answer = bench.web.get(f"{bench.at}/sound.wav", headers={"Range": asked})
    assert answer.status_code == 416
    assert re.fullmatch(r"bytes \*/\d+", answer.headers["content-range"])


@pytest.mark.parametrize(
    "asked", ["bytes=", "bytes=5-1", "bytes=a-b", "words=1-2", "bytes=1-2,4-5"]
)
def test_ranges_that_cannot_be_read_give_the_whole(bench: Bench, asked: str) -> None:
    """RFC 9110, 14.2: a server may ignore the Range header field."""
    assert bench.web.get(f"{bench.at}/sound.wav", headers={"Range": asked}).status_code == 200


def test_a_recording_that_is_gone_is_told_and_the_rest_is_shown(bench: Bench) -> None:
    bench.book.audio_path(bench.number).unlink()
    answer = bench.web.get(f"{bench.at}/sound.wav")
    assert answer.status_code == 404 and str(bench.recording.parent) not in answer.text
    assert bench.web.get(bench.at).status_code == 200


# ---- for everybody -------------------------------------------------------------------------------


def test_every_field_has_a_label_and_every_picture_words(bench: Bench) -> None:
    for target in pages(bench):
        page = Page(bench.web.get(target).text)
        ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
        assert len(ids) == len(set(ids)), f"{target}: an id twice"
        labelled = {tag.get("for") for tag in page.every("label")}
        for tag in page.every("input", "select", "textarea"):
            hidden = tag.get("type") in ("hidden", "checkbox")  # a checkbox stands in its label
            assert hidden or tag["id"] in labelled, f"{target}: {tag}"
        assert all(tag.get("alt") for tag in page.every("img"))
        assert len(page.every("h1")) == 1
        assert page.every("html")[0]["lang"] == "en-GB"


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_contrast_is_at_least_4_5() -> None:
    css = (files("talklog") / "web" / "static" / "page.css").read_text("utf-8")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))
    for text in ("ink", "soft", "link"):
        for behind in ("paper", "tint"):
            one, other = luminance(colours[text]), luminance(colours[behind])
            assert (max(one, other) + 0.05) / (min(one, other) + 0.05) >= 4.5, (text, behind)
    assert set(re.findall(r"color: (#\w+)", css)) <= set(colours.values())


def test_a_page_comes_quickly_with_a_large_record(bench: Bench) -> None:
    """200 ms to the first byte is the aim; the bound leaves room for a busy machine."""
    many = record(Notes(tuple(replace(one) for one in NOTES.readings * 50)))
    many = many.model_copy(update={"id": many.id[:-1] + "3"})
    bench.number = bench.book.add(many, audio=None, name="long").id
    bench.web.get(bench.at)
    start = time.perf_counter()
    assert bench.web.get(bench.at).status_code == 200
    assert time.perf_counter() - start < 1.0
