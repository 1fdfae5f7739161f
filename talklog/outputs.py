"""Records as files: written whole or not at all, and never over another recording's record."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

from talklog.errors import RecordError
from talklog.record import ServiceRecord, to_json
from talklog.report import html_report, text_report

_Writer = Callable[[ServiceRecord, str], str]
WRITERS: dict[str, tuple[str, _Writer]] = {
    "json": (".json", lambda record, name: to_json(record) + "\n"),
    "html": (".html", lambda record, name: html_report(record, name=name)),
    "text": (".txt", lambda record, name: text_report(record, name=name)),
}


def write_record(
    record: ServiceRecord, *, name: str, folder: Path, formats: Iterable[str]
) -> tuple[Path, ...]:
    """Write a record as STEM.json, .html and .txt. Returns the paths.

    A file that is already there is replaced only if it came from the same recording (it holds the
    same SHA-256). Raises RecordError otherwise, and when the folder cannot be written.
    """
    kinds = [WRITERS[kind] for kind in formats]
    paths = [folder / (Path(name).stem + suffix) for suffix, _ in kinds]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in paths:
            _refuse_another(path, record.source.sha256)
        for path, (_, writer) in zip(paths, kinds, strict=True):
            _write_whole(path, writer(record, name))
    except OSError as error:
        raise RecordError(
            f"{error.filename or folder}: cannot be written ({error.strerror})"
        ) from error
    return tuple(paths)


def _refuse_another(path: Path, sha256: str) -> None:
    if path.exists() and sha256.encode() not in path.read_bytes():
        raise RecordError(
            f"{path}: belongs to another recording and was left as it is; "
            "rename the recording or give another folder with --out"
        )


def _write_whole(path: Path, text: str) -> None:
    """Through a file beside it, so that a reader never sees half a record."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
