"""Samples -> words, by the Vosk recogniser. Nothing else in talklog knows of Vosk.

Vosk is never left to find a model by itself, since it would look on the network for one.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

from talklog.audio import RATE, Recording, open_audio, read_blocks
from talklog.errors import ModelError
from talklog.quiet import hushed
from talklog.rehearing import Rehearer, hear_again
from talklog.transcript import Rehearing, Source, Transcript, Way, Word

MODEL_NAME = "talklog-en"
VARIABLE = "TALKLOG_MODEL"
# A word the recogniser heard but does not know. It stays a word, so that no number reaches across.
UNKNOWN = "[unclear]"
_UNKNOWN = frozenset({"<unk>", "[unk]", "<UNK>", "[UNK]"})  # as models spell it
WAYS = 12  # ways of hearing a piece again; more change no figure
# Marks for sounds that are no words; models spell them in these brackets.
_SOUND_BRACKETS = (("[", "]"), ("<", ">"), ("!", ""))
# Seconds of the recording that are done, and seconds in all if known; both are equal at the end.
OnProgress = Callable[[float, float | None], None]


class Stream(Protocol):
    """One note being decoded. Results are Vosk's JSON: {"result": [{word, start, end, conf}]}."""

    def accept(self, block: bytes) -> bool: ...
    def result(self) -> str: ...
    def final_result(self) -> str: ...
    def partial_result(self) -> str: ...


class Engine(Protocol):
    """A loaded recogniser. ``name`` and ``model`` go into the record's source."""

    name: str
    model: str

    def stream(self) -> Stream:
        """A fresh stream; a second note must not be heard by the first one's."""
        ...


class Listener:
    """Hears one note as it comes: feed blocks, get the words of each utterance that has ended.

    Times count from the first block and run on across utterances.
    """

    def __init__(self, engine: Engine) -> None:
        self._stream = engine.stream()
        self._end = 0.0  # of the last word
        self._samples = 0

    @property
    def seconds(self) -> float:
        """Seconds of sound fed so far."""
        return self._samples / RATE

    def feed(self, block: bytes) -> tuple[Word, ...]:
        """Take 16 kHz mono 16-bit samples. Words of the utterance that ended here, mostly none."""
        self._samples += len(block) // 2
        return self._words(self._stream.result()) if self._stream.accept(block) else ()

    def finish(self) -> tuple[Word, ...]:
        """The words since the last utterance. The listener cannot be fed any more."""
        return self._words(self._stream.final_result())

    def partial(self) -> str:
        """What the utterance not ended yet sounds like so far; may change with every block."""
        return str(json.loads(self._stream.partial_result()).get("partial", ""))

    def _words(self, result: str) -> tuple[Word, ...]:
        pieces = json.loads(result).get("result", ())
        return tuple(self._word(piece) for piece in pieces if not _is_sound(piece["word"]))

    def _word(self, piece: dict[str, Any]) -> Word:
        start, end = max(0.0, piece["start"]), max(0.0, piece["end"])
        pause, self._end = max(0.0, start - self._end), end
        text = UNKNOWN if piece["word"] in _UNKNOWN else piece["word"].lower()
        times = (round(start, 3), round(end, 3))
        return Word(text, *times, round(min(piece["conf"], 1.0), 4), round(pause, 3))


def _is_sound(text: str) -> bool:
    """ "[noise]", "<sil>" and "!SIL" are no words; "[unk]" is one."""
    return text not in _UNKNOWN and any(
        text.startswith(left) and text.endswith(right) for left, right in _SOUND_BRACKETS
    )


def recognise(
    recording: Recording,
    blocks: Iterable[bytes],
    engine: Engine,
    *,
    on_progress: OnProgress | None = None,
) -> Transcript:
    """The words of one recording on one time axis, from blocks of 16 kHz mono 16-bit samples.

    Raises whatever reading the blocks raises; nothing is returned of a recording that breaks off.
    """
    listener = Listener(engine)
    words: list[Word] = []
    for block in blocks:
        words += listener.feed(block)
        if on_progress:
            on_progress(listener.seconds, recording.seconds)
    words += listener.finish()
    if on_progress:
        on_progress(listener.seconds, listener.seconds)
    seconds = round(listener.seconds, 3)
    source = Source("audio", recording.name, recording.sha256, seconds, engine.name, engine.model)
    return Transcript(source, tuple(words))


class Recogniser:
    """A speech model, loaded once, that hears any number of recordings."""

    def __init__(self, model: Path | None = None, *, engine: Engine | None = None) -> None:
        """Load the model that find_model finds. Raises ModelError. ``engine`` replaces Vosk."""
        self._engine = engine or VoskEngine(find_model(model))

    def hear(self, path: Path, *, on_progress: OnProgress | None = None) -> Transcript:
        """The words of a recording, and its numbers heard again if the engine can do that.

        Raises AudioError for a recording that cannot be read to its end.
        """
        recording = open_audio(path)
        heard = recognise(recording, read_blocks(recording), self._engine, on_progress=on_progress)
        return replace(heard, again=self.hear_again(heard.words, read_blocks(recording)))

    def hear_again(self, words: Sequence[Word], blocks: Iterable[bytes]) -> tuple[Rehearing, ...]:
        """Other hearings of the words with numbers, if the engine can tell any. ``blocks`` is the
        sound from second 0 on."""
        if not isinstance(self._engine, Rehearer):
            return ()
        return hear_again(words, blocks, self._engine)

    def listener(self) -> Listener:
        """A listener for one note that comes block by block."""
        return Listener(self._engine)


# ---- Vosk ----------------------------------------------------------------------------------------


class VoskEngine:
    """A Vosk model in memory."""

    def __init__(self, folder: Path) -> None:
        """Load a model folder that find_model has passed. Raises ModelError."""
        vosk = _import_vosk()
        vosk.SetLogLevel(-1)  # before anything else
        try:
            with hushed():  # it tells of errors all the same
                self._model = vosk.Model(model_path=str(folder))
        except Exception as error:  # the library has no class of its own for it
            raise ModelError(
                f"{folder}: is not a speech model that Vosk can load; it may be damaged. "
                "Install talklog again, or unpack the model again."
            ) from error
        self._recogniser = vosk.KaldiRecognizer
        self.name = f"vosk {_vosk_version()}"
        self.model = f"{folder.name} {_fingerprint(folder)}"

    def stream(self) -> VoskStream:
        """A fresh recogniser. Notes heard one after the other do not depend on each other."""
        _throw_dice_anew()
        recogniser = self._recogniser(self._model, RATE)
        recogniser.SetWords(True)
        return VoskStream(recogniser)

    def ways(self, block: bytes) -> tuple[Way, ...]:
        """The likeliest ways to hear a short piece of sound, by shares that add up to 1.

        Vosk gives each way the logarithm of its likelihood; shares are those likelihoods.
        """
        _throw_dice_anew()
        recogniser = self._recogniser(self._model, RATE)
        recogniser.SetMaxAlternatives(WAYS)
        recogniser.SetWords(True)
        recogniser.AcceptWaveform(block)
        found = json.loads(recogniser.FinalResult()).get("alternatives", ())
        best = max((way["confidence"] for way in found), default=0.0)
        likely = [math.exp(way["confidence"] - best) for way in found]
        return tuple(
            Way(part / sum(likely), tuple(map(_timed, way.get("result", ()))))
            for part, way in zip(likely, found, strict=True)
        )


class VoskStream:
    """A KaldiRecognizer under the names of ``Stream``. It is used for one note only."""

    def __init__(self, recogniser: Any) -> None:
        self._recogniser = recogniser

    def accept(self, block: bytes) -> bool:
        """Whether an utterance has ended; its result must then be read."""
        return bool(self._recogniser.AcceptWaveform(block))

    def result(self) -> str:
        return self._recogniser.Result()

    def final_result(self) -> str:
        return self._recogniser.FinalResult()

    def partial_result(self) -> str:
        return self._recogniser.PartialResult()


def _timed(piece: dict[str, Any]) -> tuple[str, float, float]:
    return piece["word"].lower(), piece["start"], piece["end"]


def _import_vosk() -> Any:
    try:
        import vosk
    except (ImportError, OSError, TypeError) as error:  # OSError: its library does not load
        raise ModelError(
            f"the recogniser Vosk cannot be started ({error}). Install talklog again with pip."
        ) from error
    return vosk


def _throw_dice_anew() -> None:
    """Start the C library's random numbers again.

    Vosk takes from them the noise of one quantisation step that it adds to the sound. Without
    this the confidences of a note, and now and then a word, would hang on what was heard before.
    """
    import ctypes

    ctypes.CDLL(None).srand(1)  # None: the libraries of this process


def _vosk_version() -> str:
    from importlib.metadata import version

    return version("vosk")


def _fingerprint(folder: Path) -> str:
    """The first eight hexadecimal digits of the acoustic model's SHA-256."""
    with _acoustic_model(folder).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:8]


# ---- model folders -------------------------------------------------------------------------------

# What Vosk opens in either of its two layouts; of alternatives one is enough.
_NESTED = (
    ("am/final.mdl",),
    ("conf/model.conf",),
    ("conf/mfcc.conf", "conf/fbank.conf"),
    ("graph/HCLG.fst", "graph/HCLr.fst"),
    ("graph/HCLG.fst", "graph/Gr.fst"),
    ("graph/words.txt", "graph/Gr.fst"),
)
_FLAT = (
    ("final.mdl",),
    ("mfcc.conf",),
    ("HCLG.fst", "HCLr.fst"),
    ("HCLG.fst", "Gr.fst"),
    ("words.txt", "Gr.fst"),
)
# Vosk ends the whole program at the first pause if its configuration does not say this.
_NEEDED_SETTING = "--endpoint.silence-phones="


def find_model(explicit: Path | None = None) -> Path:
    """The folder of the speech model: ``explicit``, else TALKLOG_MODEL, else talklog's own.

    Raises ModelError naming what is missing and who asked for the folder.
    """
    if explicit is not None:
        return _checked(Path(explicit), "")
    if os.environ.get(VARIABLE):
        return _checked(Path(os.environ[VARIABLE]), f" (named by {VARIABLE})")
    for folder in _own_folders():
        if folder.is_dir():
            return _checked(folder, "")
    raise ModelError(
        f"there is no speech model: {_own_folders()[0]} is missing. Install talklog again, or name "
        f"a model folder with --model DIR or {VARIABLE}."
    )


def _own_folders() -> tuple[Path, ...]:
    """Where the model stands in an installed talklog, and in a checkout of its sources."""
    from importlib.resources import files

    package = Path(str(files("talklog")))
    return tuple(root / "models" / MODEL_NAME for root in (package, package.parent))


def _checked(folder: Path, named: str) -> Path:
    other = f"Name another model folder with --model DIR or {VARIABLE}."
    if not folder.is_dir():
        raise ModelError(f"{folder}{named}: there is no such folder. {other}")
    if not _acoustic_model(folder).is_file():
        inside = _only_model_inside(folder)
        hint = f"The model seems to be {inside}." if inside else other
        raise ModelError(f"{folder}{named}: holds no speech model, am/final.mdl is missing. {hint}")
    parts = _NESTED if (folder / "am").is_dir() else _FLAT
    missing = [" or ".join(names) for names in parts if not _any_file(folder, names)]
    if missing:
        what = ", ".join(missing)
        raise ModelError(f"{folder}{named}: is no complete speech model, {what} missing. {other}")
    settings = folder / "conf/model.conf"
    if parts is _NESTED and _NEEDED_SETTING not in settings.read_text("utf-8", errors="replace"):
        raise ModelError(f"{settings}: {_NEEDED_SETTING}... is missing. {other}")
    return folder.resolve()


def _any_file(folder: Path, names: Iterable[str]) -> bool:
    return any((folder / name).is_file() for name in names)


def _acoustic_model(folder: Path) -> Path:
    nested = folder / "am"
    return (nested if nested.is_dir() else folder) / "final.mdl"


def _only_model_inside(folder: Path) -> Path | None:
    """The model one level down, where unpacking often leaves it."""
    inside = [path for path in sorted(folder.iterdir()) if path.is_dir()]
    models = [path for path in inside if _acoustic_model(path).is_file()]
    return models[0] if len(models) == 1 else None
