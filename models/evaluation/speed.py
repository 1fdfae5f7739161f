"""Speed and size of the talklog command, as a person at the bench meets them.

    python -m models.evaluation.speed sample_audio/*.flac

Each line is one fresh process on one core: wall time, and peak memory of that process alone.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

COMMAND = [sys.executable, "-m", "talklog"]
NOTE = (
    "right the van is up on stands inlet clearance cylinder one twelve thou cylinder two ten thou "
    "front left tyre two point two bar rear tyre thirty two psi changed the oil filter and fitted "
    "new pads book says a hundred and ten newton metres no make that one oh five "
)


def note(words: int = 200) -> str:
    """A typed note of that many words."""
    repeated = NOTE.split() * (words // len(NOTE.split()) + 1)
    return " ".join(repeated[:words])


def measure(arguments: list[str], *, text: str = "") -> tuple[float, float, int]:
    """(seconds, peak megabytes, exit status) of one run of the command."""
    begin = time.perf_counter()
    with subprocess.Popen(
        [*COMMAND, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        preexec_fn=_one_core,
    ) as process:
        process.stdin.write(text.encode())
        process.stdin.close()
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    return time.perf_counter() - begin, usage.ru_maxrss / 1024, process.returncode


def _one_core() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def seconds_of(path: Path) -> float:
    """Length of a recording."""
    from talklog.audio import open_audio

    return open_audio(path).seconds or 0.0


def main(paths: list[str]) -> None:
    runs: list[tuple[str, list[str], str, float]] = [
        ("--help", ["--help"], "", 0.0),
        ("read, 200 words", ["read", "-", "--format", "json"], note(), 0.0),
    ]
    runs += [
        (Path(p).name, ["take", p, "--format", "json"], "", seconds_of(Path(p))) for p in paths
    ]
    for name, arguments, text, length in runs:
        measure(arguments, text=text)  # once to warm the disk cache
        took, megabytes, status = measure(arguments, text=text)
        share = f"  {took / length:.3f} of {length:.0f} s" if length else ""
        failed = f"  exit status {status}" if status else ""
        print(f"{name:28} {took:6.2f} s  {megabytes:5.0f} MB{share}{failed}")


if __name__ == "__main__":
    main(sys.argv[1:])
