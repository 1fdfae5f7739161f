"""A consistent copy of a book while it is in use, with its recordings."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from talklog.errors import LogbookError
from talklog.logbook.audio_folder import AudioFolder
from talklog.logbook.store import Logbook


def back_up(book: Logbook, target: Path) -> Path:
    """Copy the book to a new file, and its recordings beside it. Returns the file.

    The copy is one state of the book, whatever is written meanwhile. Raises LogbookError when the
    target is there already or cannot be written; then nothing of it is left.
    """
    if target.exists():
        raise LogbookError(f"{target}: is there already; give another name")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with book.database.alone() as connection:
            connection.execute("VACUUM INTO ?", (str(part),))
        _copy_recordings(book.audio, AudioFolder(target))
        os.replace(part, target)
    except OSError as error:
        raise LogbookError(
            f"{error.filename or target}: the backup cannot be written ({error.strerror})"
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return target


def _copy_recordings(source: AudioFolder, target: AudioFolder) -> None:
    """Recordings never change, so one that is there already with the same size is done."""
    for path in sorted(source.path.glob("??/*")) if source.path.is_dir() else ():
        place = target.path / path.relative_to(source.path)
        if place.is_file() and place.stat().st_size == path.stat().st_size:
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, place)
