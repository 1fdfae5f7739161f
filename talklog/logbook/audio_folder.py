"""Recordings by their SHA-256, in a folder beside the book: written whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import os
import threading
from pathlib import Path
from typing import BinaryIO

from talklog.errors import LogbookError

_BLOCK = 1 << 20
_SUFFIX_LETTERS = frozenset("abcdefghijklmnopqrstuvwxyz0123456789")
PART = ".part-"  # in the names of files that are being written


class AudioFolder:
    """``book.db`` keeps its recordings in ``book-audio/ab/abcdef....flac``."""

    def __init__(self, book: Path) -> None:
        self.path = book.with_name(f"{book.stem}-audio")

    def place(self, sha256: str, suffix: str) -> Path:
        """Where a recording lies, or would."""
        return self.path / sha256[:2] / f"{sha256}{suffix}"

    def keep(self, source: Path, sha256: str) -> tuple[str, int]:
        """Copy a recording in, unless it is there. Returns its suffix and size in bytes.

        Raises LogbookError when the file is not the one with that hash (it changed since it was
        heard), when it cannot be read, or when the folder cannot be written.
        """
        suffix = safe_suffix(source.name)
        place = self.place(sha256, suffix)
        try:
            size = source.stat().st_size
            if not (place.is_file() and place.stat().st_size == size):
                with source.open("rb") as stream:
                    self.write(stream, place, sha256)
            return suffix, size
        except OSError as error:
            raise LogbookError(
                f"{error.filename or place}: the recording cannot be kept ({error.strerror})"
            ) from error

    def write(self, stream: BinaryIO, place: Path, sha256: str) -> None:
        """Through a file beside it that is on the disk before it gets its name."""
        place.parent.mkdir(parents=True, exist_ok=True)
        part = place.with_name(f"{place.name}{PART}{os.getpid()}-{threading.get_ident()}")
        try:
            with part.open("wb") as file:
                found = _copy(stream, file)
                file.flush()
                os.fsync(file.fileno())
            if found != sha256:
                raise LogbookError(
                    f"{getattr(stream, 'name', place)}: is not the recording that was heard (it "
                    "changed meanwhile); take it again"
                )
            os.replace(part, place)
            _sync_folder(place.parent)
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def safe_suffix(name: str) -> str:
    """ ".flac" of "van.FLAC"; nothing where the end of the name is not a plain short suffix."""
    suffix = Path(name).suffix.lower()
    plain = 2 <= len(suffix) <= 6 and set(suffix[1:]) <= _SUFFIX_LETTERS
    return suffix if plain else ""


def hash_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _copy(stream: BinaryIO, file: BinaryIO) -> str:
    digest = hashlib.sha256()
    while block := stream.read(_BLOCK):
        digest.update(block)
        file.write(block)
    return digest.hexdigest()


def _sync_folder(folder: Path) -> None:
    """The new name must be on the disk before the row that points to it. Windows cannot."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
