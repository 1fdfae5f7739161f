"""The review page in a real browser, by its own protocol: open, play, correct, sign, reload.

Left out where no Chromium is found. The recording is the van sample, its record made by hand, so
that the test needs no recogniser.
"""

import itertools
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from test_record import record

from talklog.audio import open_audio
from talklog.logbook.store import Logbook

ROOT = Path(__file__).parents[1]
SOUND = ROOT / "sample_audio" / "van.flac"
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next(filter(None, map(shutil.which, NAMES)), None)
PATIENCE = 20.0  # seconds
pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def until(found: Callable[[], Any], what: str) -> Any:
    """What ``found`` gives as soon as it gives something."""
    last: Exception | None = None
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        try:
            if result := found():
                return result
        except Exception as error:
            last = error
        time.sleep(0.05)
    raise AssertionError(f"waited in vain for {what} ({last})")


class Tab:
    """One tab of the browser."""

    def __init__(self, socket: Any) -> None:
        self.socket = socket
        self.numbers = itertools.count(1)
        self.complaints: list[str] = []
        for domain in ("Page", "Runtime", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **given: Any) -> dict:
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": given}))
        while True:
            message = json.loads(self.socket.recv(timeout=PATIENCE))
            if message.get("method") in ("Runtime.exceptionThrown", "Log.entryAdded"):
                self.complaints.append(json.dumps(message["params"]))
            if message.get("id") == number:
                assert "error" not in message, message
                return message["result"]

    def ask(self, script: str) -> Any:
        """What a script in the page gives; promises are waited for."""
        made = self.call(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True,
            userGesture=True,
        )  # fmt: skip
        assert "exceptionDetails" not in made, made
        return made["result"].get("value")

    def go(self, address: str) -> None:
        self.call("Page.navigate", url=address)
        self.wait("document.readyState === 'complete' && location.href !== 'about:blank'")

    def wait(self, script: str) -> Any:
        return until(lambda: self.ask(script), script)

    def press(self, key: str) -> None:
        text = {"Enter": "\r"}.get(key, key if len(key) == 1 else "")
        code = {"Enter": 13, "Escape": 27, "Tab": 9, "Backspace": 8}.get(key, 0)
        given = {"key": key, "text": text, "windowsVirtualKeyCode": code}
        self.call("Input.dispatchKeyEvent", type="keyDown", **given)
        self.call("Input.dispatchKeyEvent", type="keyUp", key=key, windowsVirtualKeyCode=code)

    def type(self, text: str) -> None:
        self.call("Input.insertText", text=text)

    def settled(self, act: Callable[[], None]) -> None:
        """Do what leads to another page, and wait for that page."""
        self.ask("window.before = true")
        act()
        self.wait("!window.before && document.readyState === 'complete'")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Logbook]:
    with Logbook.open(tmp_path_factory.mktemp("book") / "book.db") as opened:
        made = record()
        source = made.source.model_copy(update={"sha256": open_audio(SOUND).sha256})
        made = made.model_copy(update={"source": source})
        opened.add(made, audio=SOUND, name="van.flac")
        yield opened


@pytest.fixture(scope="module")
def home(book: Logbook) -> Iterator[str]:
    """The page as the command serves it."""
    port = free_port()
    known = os.environ.get("PYTHONPATH", "")
    page = subprocess.Popen(
        [sys.executable, "-m", "talklog", "review", "--port", str(port), "--book", str(book.path)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), known)))},
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        until(lambda: urllib.request.urlopen(address, timeout=5).status == 200, "the page")
        yield address
    finally:
        page.terminate()
        page.wait(PATIENCE)


@pytest.fixture(scope="module")
def open_tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], Tab]]:
    from websockets.sync.client import connect

    port = free_port()
    browser = subprocess.Popen(
        [
            BROWSER, "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
            "--no-first-run", "--mute-audio", f"--remote-debugging-port={port}",
            "--remote-allow-origins=*", "--window-size=900,1000",
            f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "about:blank",
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    at = f"http://127.0.0.1:{port}/json"

    def new() -> Tab:
        asked = urllib.request.Request(f"{at}/new?about:blank", method="PUT")
        with urllib.request.urlopen(asked, timeout=5) as answer:
            address = json.load(answer)["webSocketDebuggerUrl"]
        return Tab(sockets.enter_context(connect(address, max_size=None)))

    try:
        until(lambda: urllib.request.urlopen(f"{at}/version", timeout=5), "the browser")
        with ExitStack() as sockets:
            yield new
    finally:
        browser.terminate()
        browser.wait(PATIENCE)


def test_open_play_correct_by_keyboard_sign_reload(home: str, book: Logbook, open_tab) -> None:
    tab = open_tab()
    tab.go(f"{home}/entries/1")
    tab.ask("document.getElementById('who').focus()")
    tab.type("Ada Bench")
    tab.settled(lambda: tab.press("Enter"))
    assert tab.ask("document.getElementById('who').value") == "Ada Bench"

    # Play the first open item: n goes to it, p plays its own seconds.
    tab.press("n")
    first = tab.ask("document.activeElement.id")
    assert first == tab.ask("document.querySelector('.first .item').id")
    tab.press("p")
    sound = "document.activeElement.querySelector('audio')"
    tab.wait(f"{sound}.currentTime > 0.2")
    assert "-" in tab.ask(f"{sound}.currentSrc").rpartition("/")[2]
    tab.wait("!document.activeElement.querySelector('.cursor').hidden")
    tab.press("p")
    tab.wait(f"{sound}.paused")
    assert tab.ask("document.querySelector('.first img').naturalWidth > 0")

    # Correct it: c opens the form at the value, Enter saves, the next open item has the focus.
    index = int(first[1:])
    tab.press("c")
    assert tab.ask("document.activeElement.name") == "value"
    tab.type("11")
    tab.settled(lambda: tab.press("Enter"))
    assert book.entry(1).record.readings[index].value == "11"
    revision = book.revisions(1)[-1]
    assert (revision.number, revision.who) == (2, "Ada Bench")
    assert tab.ask("document.activeElement.classList.contains('item')")

    # Accept what is left, with a; then sign with the keyboard.
    while tab.ask("document.querySelectorAll('[data-open] form.accept').length"):
        if not tab.ask("'open' in document.activeElement.dataset"):
            tab.press("n")
            continue
        tab.settled(lambda: tab.press("a"))
    tab.ask("document.querySelector('#sign [name=anyway]')?.click()")
    tab.ask("document.getElementById('signer').focus()")
    tab.settled(lambda: tab.press("Enter"))
    (seal,) = book.seals(1)
    assert (seal.who, book.entry(1).sealed) == ("Ada Bench", True)

    tab.go(f"{home}/entries/1")
    assert seal.sha256 in tab.ask("document.body.innerText")
    assert not tab.complaints, tab.complaints


def test_of_two_tabs_the_second_is_told(home: str, book: Logbook, open_tab) -> None:
    one, other = open_tab(), open_tab()
    for tab in (one, other):
        tab.go(f"{home}/entries/1#r1")
        tab.press("c")
        tab.type("9")
    before = book.entry(1).revisions
    for tab in (one, other):
        tab.settled(lambda tab=tab: tab.press("Enter"))
    assert "changed meanwhile" in other.ask("document.body.innerText")
    assert book.entry(1).revisions == before + 1
    assert book.revisions(1)[-1].amendment


def test_it_fits_at_200_per_cent_and_targets_are_large(home: str, open_tab) -> None:
    """WCAG 2.1: 1.4.10 (no sideways scrolling at 320 CSS pixels), 2.5.5 (targets of 44 pixels)."""
    tab = open_tab()
    for width in (450, 320):  # 900 pixels at 200 %, and the narrowest of the standard
        tab.call("Emulation.setDeviceMetricsOverride", width=width, height=700,
                 deviceScaleFactor=1, mobile=False)  # fmt: skip
        tab.go(f"{home}/entries/1")
        assert tab.ask("document.documentElement.scrollWidth") <= width
    small = tab.ask(
        "[...document.querySelectorAll('button, summary, select, nav a')].filter(e => "
        "e.checkVisibility() && (e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML)"
    )
    assert small == []


def test_it_works_without_scripts(home: str, book: Logbook, open_tab) -> None:
    tab = open_tab()
    tab.call("Network.enable")
    tab.call("Network.setBlockedURLs", urls=["*/static/page.js"])
    tab.go(f"{home}/entries/1#r1")
    assert tab.ask("document.querySelector('.keys').hidden")
    tab.ask("document.querySelector('#r1 details.correct summary').focus()")
    tab.press("Enter")
    assert tab.ask("document.querySelector('#r1 details.correct').open")
    tab.press("Tab")
    assert tab.ask("document.activeElement.name") == "value"
    before = book.entry(1).revisions
    tab.ask("document.activeElement.select()")
    tab.type("13")
    tab.press("Enter")
    until(lambda: book.entry(1).revisions == before + 1, "the new revision")
    assert book.entry(1).record.readings[1].value == "13"
