"""Records for tests of the logbook, made by the real steps from invented notes."""

import hashlib
import signal
import subprocess
import sys
import time
from pathlib import Path

from talklog.bands import parse_bands
from talklog.logbook.store import Logbook
from talklog.logbook.verify import find_damage
from talklog.pipeline import record_of
from talklog.record import ServiceRecord, to_json
from talklog.sheets import NamedSheet
from talklog.transcript import Source, Transcript, Word

SHEET = NamedSheet(
    "heron.toml",
    parse_bands(
        """
[machine]
key = "heron"
name = "Van Heron"
kind = "van"
[[band]]
quantity = "pressure"
component = "tyre"
low = 2.0
high = 2.6
unit = "bar"
source = "invented for these tests"
"""
    ),
)


def note(text: str, *, sound: Path | None = None) -> Transcript:
    """A spoken note of one word a third of a second; ``sound`` is the recording it is of."""
    content = sound.read_bytes() if sound else text.encode()
    words = tuple(Word(w, n / 3, (n + 1) / 3, 0.99) for n, w in enumerate(text.split()))
    digest = hashlib.sha256(content).hexdigest()
    return Transcript(Source("audio", "note", digest, len(words) / 3, "test", "test"), words)


def record_from(text: str, *, sound: Path | None = None) -> ServiceRecord:
    """The record of a note about the van Heron."""
    return record_of(note(text, sound=sound), sheet=SHEET)


# ---- killing -------------------------------------------------------------------------------------

WRITER = """
import hashlib, sys, uuid
from pathlib import Path
from talklog.logbook.store import Logbook
from talklog.record import load_record
book = Logbook.open(Path(sys.argv[1]))
base = load_record(Path(sys.argv[2]).read_text())
while True:
    sound = Path(sys.argv[1]).with_name("sound.wav")
    sound.write_bytes(uuid.uuid4().bytes * 5000)
    source = base.source.model_copy(
        update={"sha256": hashlib.sha256(sound.read_bytes()).hexdigest()})
    record = base.model_copy(update={"id": str(uuid.uuid4()), "source": source})
    entry = book.add(record, audio=sound, name="n")
    book.revise(entry.id, record, who="Ada", what="x", base_revision=entry.revisions)
    book.seal(entry.id, who="Ada")
    print(entry.id, flush=True)
"""


def killed_writer(path: Path, *, after: float) -> set[int]:
    """Let a process put in, correct and sign entries, kill it so many seconds after the first;
    the numbers of the entries that it said were finished."""
    base = path.with_name("base.json")
    base.write_text(to_json(record_from("rear tyre two bar")))
    root = Path(__file__).parents[1]
    command = [sys.executable, "-c", WRITER, str(path), str(base)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=root) as writer:
        told = [writer.stdout.readline()]
        time.sleep(after)
        writer.send_signal(signal.SIGKILL)
        told += writer.stdout.read().splitlines()
    return {int(line) for line in told if line.strip()}


def what_was_lost(path: Path, finished: set[int]) -> list[str]:
    """What is wrong with a book after a kill: nothing, if all is well."""
    with Logbook.open(path) as book:
        problems = list(find_damage(book))
        for number in sorted(finished):
            entry = book.entry(number)
            done = [r.who for r in book.revisions(number)] == ["talklog", "Ada"] and entry.sealed
            if not done or not book.audio_path(number).is_file() or not entry.record.readings:
                problems.append(f"entry {number} was finished and is not whole")
        return problems
