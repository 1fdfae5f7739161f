"""Records for tests of the logbook, made by the real steps from invented notes."""

import hashlib
from pathlib import Path

from talklog.bands import parse_bands
from talklog.pipeline import record_of
from talklog.record import ServiceRecord
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
