"""Which band sheet goes with a note: the one named, the one filed for a machine, or the one beside.

Sheets of machines are filed in one folder: ``TALKLOG_SHEETS`` if set, else ``talklog/sheets`` in
the user's data folder. The file name does not matter, the key in its ``[machine]`` does.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from talklog.bands import BandSheet, load_bands
from talklog.errors import DataFileError
from talklog.folders import user_folder


@dataclass(frozen=True, slots=True)
class NamedSheet:
    """A band sheet and the name of its file, which the record mentions."""

    name: str
    sheet: BandSheet


def sheet_folder() -> Path:
    """Where sheets of machines are filed. It need not exist."""
    if named := os.environ.get("TALKLOG_SHEETS"):
        return Path(named)
    return user_folder() / "sheets"


def sheet_in(path: Path) -> NamedSheet:
    """The sheet in a file. Raises DataFileError."""
    return NamedSheet(path.name, load_bands(path))


def sheet_for_machine(key: str) -> NamedSheet:
    """The filed sheet of a machine. Raises DataFileError when none or several have that key, or
    when a filed sheet is broken: it might be the one that is meant."""
    folder = sheet_folder()
    filed = [sheet_in(path) for path in sorted(folder.glob("*.toml"))]
    found = [named for named in filed if named.sheet.machine.key == key]
    if len(found) > 1:
        names = ", ".join(named.name for named in found)
        raise DataFileError(f"{folder}: {names} all have the key {key!r}; give each its own.")
    if not found:
        known = ", ".join(named.sheet.machine.key for named in filed) or "none"
        raise DataFileError(
            f"No sheet for machine {key!r} in {folder}; known there: {known}. "
            "Put its sheet there, set TALKLOG_SHEETS, or name a file with --bands."
        )
    return found[0]


def sheet_beside(path: Path) -> NamedSheet | None:
    """The sheet with the same stem in the same folder: van.toml for van.flac."""
    beside = path.with_suffix(".toml")
    return sheet_in(beside) if beside.is_file() and beside != path else None
