"""Records as bytes that are always the same for the same content, and their hashes."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from talklog.record import ServiceRecord


def canonical(body: Any) -> str:
    """JSON with sorted keys, no spaces, nothing escaped that need not be. It holds no NaN."""
    return json.dumps(
        body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def sha256_of(text: str) -> str:
    """SHA-256 of the text in UTF-8, hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def record_text(record: ServiceRecord) -> str:
    """The canonical JSON of a record: what is stored, hashed and sealed."""
    return canonical(record.model_dump(mode="json", by_alias=True))


def content_hash(text: str) -> str:
    """The hash of a record's canonical JSON without the time it was made at, so that the same
    note taken twice has one hash."""
    body = json.loads(text)
    body.pop("made_at", None)
    return sha256_of(canonical(body))
