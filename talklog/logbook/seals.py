"""What a signature stands for: a hash over the record, its recording and all that came before."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.logbook.canonical import canonical, sha256_of


def seal_hash(
    *,
    record_id: str,
    revisions: Sequence[str],
    audio_sha256: str | None,
    source_sha256: str,
    earlier: Sequence[str],
    who: str,
    made_at: str,
) -> str:
    """SHA-256 over canonical JSON of these fields. ``revisions`` are the hashes of all versions of
    the record in order, the sealed one last; ``earlier`` the hashes of the seals before. Change
    one letter of any of them, or of the recording, and the hash is another."""
    body = {
        "record": record_id,
        "revisions": list(revisions),
        "audio": audio_sha256,
        "source": source_sha256,
        "earlier": list(earlier),
        "who": who,
        "made_at": made_at,
    }
    return sha256_of(canonical(body))
