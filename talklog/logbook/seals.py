"""What a signature stands for: a hash over the record, its recording and all that came before."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from talklog.logbook.canonical import canonical, sha256_of


def seal_hash(
    *,
    record_id: str,
    revisions: Sequence[Sequence[Any]],
    audio_sha256: str | None,
    source_sha256: str,
    earlier: Sequence[str],
    who: str,
    made_at: str,
) -> str:
    """SHA-256 over canonical JSON of these fields. ``revisions`` are all versions of the
    record in order, the sealed one last: number, when, who, what, origin and hash of each;
    ``earlier`` the hashes of the seals before. Change one letter of any of them, or of the
    recording, and the hash is another. It shows a change to whoever has the hash elsewhere (on the
    printed sheet); against a person who can write the file and make all hashes anew it is no proof.
    """
    body = {
        "record": record_id,
        "revisions": [list(revision) for revision in revisions],
        "audio": audio_sha256,
        "source": source_sha256,
        "earlier": list(earlier),
        "who": who,
        "made_at": made_at,
    }
    return sha256_of(canonical(body))
