"""Which recordings the arguments of a command mean. Looks at names only, opens nothing."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

# What a folder is searched for; a file named by itself is tried whatever its name.
AUDIO_SUFFIXES = frozenset(
    {".wav", ".wave", ".w64", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".aifc"}
    | {".au", ".caf", ".m4a", ".m4b", ".aac", ".amr", ".wma", ".mka"}
    | {".mp4", ".m4v", ".mov", ".mkv", ".webm", ".3gp", ".avi"}
)
# Files that stand beside a recording under the same name: its bands, and what talklog wrote.
COMPANION_SUFFIXES = frozenset({".toml", ".json", ".html", ".txt", ".vtt"})


def recordings(arguments: Iterable[Path]) -> tuple[Path, ...]:
    """Every recording once, in the order given; folders stand for the recordings in them.

    ``van.toml`` is left out when ``van.flac`` is there too. A folder without any recording is
    returned as it is, for the caller to report.
    """
    found = dict.fromkeys(path for argument in arguments for path in _expanded(argument))
    audio = {path.with_suffix("") for path in found if path.suffix.lower() in AUDIO_SUFFIXES}
    return tuple(path for path in found if not _is_companion(path, audio))


def _expanded(argument: Path) -> tuple[Path, ...]:
    if not argument.is_dir():
        return (argument,)
    inside = sorted(path for path in argument.iterdir() if path.suffix.lower() in AUDIO_SUFFIXES)
    return tuple(path for path in inside if path.is_file()) or (argument,)


def _is_companion(path: Path, audio: set[Path]) -> bool:
    return path.suffix.lower() in COMPANION_SUFFIXES and path.with_suffix("") in audio
