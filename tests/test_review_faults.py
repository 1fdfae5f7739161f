"""The review page killed at any moment, and on a book that cannot be used: clear words, no loss.

The page is the real command in a process of its own, killed without warning while it corrects
and signs.
"""

import os
import random
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import httpx
import pytest
from test_record import record

from talklog.errors import LogbookError
from talklog.logbook.store import Logbook
from talklog.logbook.verify import find_damage

ROOT = Path(__file__).parents[1]
ROUNDS = 3
PATIENCE = 20.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def start(book: Path, port: int) -> subprocess.Popen:
    known = os.environ.get("PYTHONPATH", "")
    return subprocess.Popen(
        [sys.executable, "-m", "talklog", "review", "--port", str(port), "--book", str(book)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), known)))},
        stderr=subprocess.PIPE,
    )


class Hand:
    """Somebody who corrects and signs as fast as it goes, until the page is gone."""

    def __init__(self, home: str) -> None:
        self.web = httpx.Client(base_url=home, headers={"Origin": home}, timeout=PATIENCE)
        self.answered = 0  # the last revision that the page said is kept
        self.begun = threading.Event()

    def work(self) -> None:
        with suppress(httpx.HTTPError):
            for number in range(1000):
                page = self.web.get("/entries/1").text
                token = re.search(r'name="token" value="([^"]+)"', page)[1]
                revision = re.search(r'name="revision" value="(\d+)"', page)[1]
                common = {"token": token, "revision": revision, "who": "Ada"}
                self.begun.set()
                change = {"kind": "correct", "index": "1", "group": "readings", "slug": "r1"}
                value = {"value": f"{10 + number % 7}.{number % 9}"}
                done = self.web.post("/entries/1/correct", data=common | change | value)
                self.answered = int(revision) + (done.status_code == 303)
                if number % 3 == 0:
                    common["revision"] = str(self.answered)
                    self.web.post("/entries/1/sign", data=common | {"anyway": "yes"})


def reached(home: str) -> None:
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        with suppress(httpx.HTTPError):
            if httpx.get(home, timeout=PATIENCE).status_code == 200:
                return
        time.sleep(0.05)
    raise AssertionError("the page did not come up")


def test_killed_at_any_moment_nothing_that_was_answered_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Logbook.open(path) as book:
        book.add(record(), audio=None, name="heron")
    chance = random.Random(7)
    for _ in range(ROUNDS):
        port = free_port()
        home = f"http://127.0.0.1:{port}"
        page = start(path, port)
        reached(home)
        hand = Hand(home)
        thread = threading.Thread(target=hand.work)
        thread.start()
        assert hand.begun.wait(PATIENCE)
        time.sleep(chance.uniform(0.05, 0.6))
        page.kill()
        page.communicate(timeout=PATIENCE)
        thread.join(PATIENCE)
        with Logbook.open(path) as book:
            assert list(find_damage(book)) == []
            kept = [one.number for one in book.revisions(1)]
            assert kept == list(range(1, len(kept) + 1))
            assert len(kept) >= hand.answered
            assert book.entry(1).revisions == len(kept)
    assert len(kept) > 1, "no correction was made at all"


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        page = start(tmp_path / "book.db", port)
        _, said = page.communicate(timeout=PATIENCE)
    assert page.returncode == 1
    assert f"port {port} cannot be used" in said.decode() and "Traceback" not in said.decode()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator:
    from test_review import Bench

    made = Bench(tmp_path)
    yield made
    made.book.close()


@pytest.mark.parametrize("text", ["the disk is full", "is damaged; check it"])
def test_what_the_book_cannot_do_is_told_on_the_page(bench, monkeypatch, text: str) -> None:
    def fail(*_args, **_more) -> None:
        raise LogbookError(f"book.db: {text}")

    monkeypatch.setattr(bench.book, "revise", fail)
    monkeypatch.setattr(bench.book, "machines", fail)
    for answer in (bench.correct(value="11"), bench.web.get("/machines")):
        assert answer.status_code == 500
        assert text in answer.text and "Traceback" not in answer.text
    assert bench.entry().revisions == 1


def test_a_fault_of_the_program_shows_no_inside(bench, monkeypatch) -> None:
    from starlette.testclient import TestClient

    from talklog.web.site import make_site

    def fail() -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr(bench.book, "machines", fail)
    web = TestClient(
        make_site(bench.shop), base_url="http://127.0.0.1:8765", raise_server_exceptions=False
    )
    answer = web.get("/machines")
    assert answer.status_code == 500 and "secret" not in answer.text
    assert "content-security-policy" in answer.headers
