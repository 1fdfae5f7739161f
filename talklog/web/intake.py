"""A recording or a typed note -> ServiceRecord, by the program itself in a process of its own.

So a file that breaks a decoder, or an hour of sound, cannot take the page down with it, and the
memory of the recogniser is given back.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import talklog
from talklog.errors import TextError
from talklog.record import ServiceRecord, load_record

LONGEST = 3600  # seconds of work; an hour of speech takes a few minutes


def take_recording(path: Path, *, name: str, machine: str | None) -> ServiceRecord:
    """The record of a recording; ``name`` stands for its path in what is told. Raises TextError
    with the program's own words when it cannot be read."""
    return _run(["take", str(path)], b"", machine=machine, hide=(str(path), name))


def read_note(text: str, *, machine: str | None) -> ServiceRecord:
    """The record of a typed note. Raises TextError."""
    return _run(["read", "-"], text.encode(), machine=machine, hide=("", ""))


def _run(
    words: list[str], given: bytes, *, machine: str | None, hide: tuple[str, str]
) -> ServiceRecord:
    chosen = ["--machine", machine] if machine else []
    root = str(Path(talklog.__file__).parents[1])
    known = os.environ.get("PYTHONPATH")
    try:
        done = subprocess.run(
            [sys.executable, "-m", "talklog", *words, *chosen, "--format", "json"],
            input=given,
            capture_output=True,
            timeout=LONGEST,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, (root, known)))},
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise TextError(f"{hide[1] or 'the note'}: not done after an hour; given up.") from error
    if done.returncode:
        said = done.stderr.decode("utf-8", "replace").strip().removeprefix("talklog: ")
        said = said.replace(*hide) if hide[0] else said
        raise TextError(said or "the recording could not be read")
    return load_record(done.stdout, where=hide[1] or "note")
