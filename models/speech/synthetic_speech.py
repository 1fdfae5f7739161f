"""Synthetic training speech: prompts -> phoneme ids here, sound on any machine with many cores.

    python -m models.speech.synthetic_speech prepare PROMPTS.txt KOKORO_DIR OUT.jsonl [--seed 1]
    python -m models.speech.synthetic_speech speak OUT.jsonl KOKORO_DIR BLOB.bin --seconds 500

KOKORO_DIR holds model.onnx (Kokoro 82M, Apache-2.0), vocab.json and voices.npz (one array of 256
numbers per phoneme count, by voice). ``prepare`` needs misaki's pronunciation tables and, for words
they lack, espeak-ng; ``speak`` needs only onnxruntime and soundfile. ``speak`` stops after the
given seconds and keeps what is done: BLOB-0000.bin and so on (Ogg Opus clips one after another)
and their labels files as ``clips`` reads them, or with ``--plain`` BLOB-0000.npy and .json as
``train --more`` takes them in while it runs. With ``--device cuda`` PyTorch speaks instead.
"""

from __future__ import annotations

import io
import json
import multiprocessing
import random
import subprocess
import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import click
import numpy as np

from .pack import DEVELOPMENT, TEST_VOICES
from .phones import outputs_of
from .pronunciations import is_letter

SYNTHETIC = "synthetic"  # name of the corpus
SPEEDS = (0.75, 1.4)  # times a voice's usual pace
KINDS_OF_VOICE = (("mixed", 1), ("mixed", 2), ("mixed", 3), ("mixed", 4), ("beyond", 2))
BEYOND = (0.1, 0.4)  # how far, where 1 is the way between the two voices
STYLE_HALF = 128  # numbers of a voice that colour its sound; the rest sets its manner
LETTERS = dict(
    zip(
        "abcdefghijklmnopqrstuvwxyz",
        [
            "ˈA",
            "bˈi",
            "sˈi",
            "dˈi",
            "ˈi",
            "ˈɛf",
            "ʤˈi",
            "ˈAʧ",
            "ˈI",
            "ʤˈA",
            "kˈA",
            "ˈɛl",
            "ˈɛm",
            "ˈɛn",
            "ˈO",
            "pˈi",
            "kjˈu",
            "ˈɑɹ",
            "ˈɛs",
            "tˈi",
            "jˈu",
            "vˈi",
            "dˈʌbᵊlju",
            "ˈɛks",
            "wˈI",
            "zˈi",
        ],
        strict=True,
    )
)
SPOKEN = {"thou": "θˈW", "nought": "nˈɔt", "mil": "mˈɪl", "mils": "mˈɪlz", "circlip": "sˈɜɹklˌɪp"}
BRITISH_SPOKEN = {"z": "zˈɛd", "r": "ˈɑː", "nought": "nˈɔːt", "circlip": "sˈɜːklˌɪp", "o": "ˈQ"}
# espeak-ng's symbols, longest first, in the alphabet that the voices were trained on.
ESPEAK = (
    ("tʃ", "ʧ"),
    ("dʒ", "ʤ"),
    ("eɪ", "A"),
    ("aɪ", "I"),
    ("aʊ", "W"),
    ("ɔɪ", "Y"),
    ("oʊ", "O"),
    ("əʊ", "Q"),
    ("əl", "ᵊl"),
    ("ɚ", "əɹ"),
    ("ɜː", "ɜɹ"),
    ("r", "ɹ"),
    ("x", "k"),
    ("ç", "k"),
    ("ɐ", "ə"),
    ("ɬ", "l"),
    ("\u0303", ""),
    ("\u0329", ""),
    ("e", "ɛ"),
    ("g", "ɡ"),
)


VOWELS = frozenset("AIOQWYaeiouæɑɒɔəɐɛɜɪʊʌᵊ")
WEAK_SHARE = 0.75
# Sound and phones before a consonant, and before a vowel. People's "to" is labelled T UW as well.
WEAK = {
    "a": (("ɐ", "AH"), ("ɐ", "AH")),
    "the": (("ðə", "DH AH"), ("ði", "DH IY")),
    "to": (("tə", "T UW"), ("tʊ", "T UW")),
    "and": (("ənd", "AH N D"), ("ənd", "AH N D")),
    "of": (("əv", "AH V"), ("əv", "AH V")),
}


class Pronouncer:
    """Words -> phoneme text, for one accent ("gb" or "us")."""

    def __init__(self, tables: Path, accent: str) -> None:
        self.accent = accent
        self.words: dict[str, str] = {}
        for quality in ("silver", "gold"):
            table = json.loads((tables / f"{accent}_{quality}.json").read_text(encoding="utf-8"))
            for word, sound in table.items():
                chosen = sound if isinstance(sound, str) else sound["DEFAULT"]
                if chosen and word.lower() == word:
                    self.words[word] = chosen
        self.words |= SPOKEN | (BRITISH_SPOKEN if accent == "gb" else {})

    @lru_cache(maxsize=100_000)  # noqa: B019 - lives as long as the program
    def word(self, word: str) -> str:
        if len(word) == 1 and word not in "ai":
            return (
                self.words[word]
                if word in BRITISH_SPOKEN and self.accent == "gb"
                else LETTERS[word]
            )
        return self.words.get(word) or self._guessed(word)

    def _guessed(self, word: str) -> str:
        voice = "en-gb" if self.accent == "gb" else "en-us"
        command = ["espeak-ng", "-q", "--ipa", "-v", voice, word]
        sound = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
        for symbol, ours in ESPEAK:
            sound = sound.replace(symbol, ours)
        return sound if self.accent == "gb" else sound.replace("ː", "")

    def sentence(
        self, words: list[str], labels: dict[str, str], chance: random.Random
    ) -> tuple[str, str]:
        """What is spoken, with commas here and there where a speaker might pause, and its phones.

        ``labels`` gives each word's phones; short words that people swallow are mostly weak.
        """
        sounds: list[str] = []
        said: list[str] = []
        for word in reversed(words):
            at = len(words) - 1 - len(said)
            if word in ("a", "i") and is_letter(words, at):
                sound, label = LETTERS[word], {"a": "EY", "i": "AY"}[word]
            elif word in WEAK and chance.random() < WEAK_SHARE:
                vowel = bool(sounds) and sounds[-1].lstrip("ˈˌ")[0] in VOWELS
                sound, label = WEAK[word][vowel]
            else:
                sound, label = self.word(word), labels[word]
            sounds.append(sound)
            said.append(label)
        marked = [s + ("," if chance.random() < 0.06 else "") for s in reversed(sounds)]
        return " ".join(marked).rstrip(",") + ".", " ".join(reversed(said))


def random_voice(names: list[str], chance: random.Random) -> dict[str, float]:
    """A voice, a mixture of two to four, or one moved further away from another.

    English voices come up three times as often as others. Shares add up to 1; that of a voice moved
    away from is below nothing. Mixtures alone would crowd around the average voice.
    """
    weights = [3.0 if name[0] in "ab" else 1.0 for name in names]
    kind, count = chance.choices(KINDS_OF_VOICE, (3, 4, 2, 1, 4))[0]
    chosen = sorted(set(chance.choices(names, weights, k=count)))
    if kind == "beyond" and len(chosen) == 2:
        away = chance.uniform(*BEYOND)
        chance.shuffle(chosen)
        shares = [1 + away, -away]
    else:
        shares = [chance.uniform(0.2, 1) for _ in chosen]
    return {name: round(share / sum(shares), 3) for name, share in zip(chosen, shares, strict=True)}


def _speak(task: tuple[dict, float, bool]) -> tuple[dict, bytes] | None:
    """One clip at 16 kHz, as Ogg Opus or as 16-bit samples, or None when time is up."""
    row, deadline, plain = task
    if time.monotonic() > deadline:
        return None
    sixteen = sound_of(row)
    if plain:
        return row, np.round(sixteen * 32_767).astype(np.int16).tobytes()
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, sixteen, 16_000, format="OGG", subtype="OPUS", compression_level=0.6)
    return row, file.getvalue()


def sound_of(row: dict) -> np.ndarray:
    """16 kHz samples of a row with ids, voice and speed. Call ``_start_worker`` first.

    A row's style has two halves: ``voice`` colours the sound, ``manner`` (the same unless given)
    sets melody and rhythm.
    """
    style = _style(row["voice"], len(row["ids"]))
    manner = _style(row.get("manner", row["voice"]), len(row["ids"]))
    style[:, STYLE_HALF:] = manner[:, STYLE_HALF:]
    sound = _SYNTHESISER(
        tokens=np.array([[0, *row["ids"], 0]], np.int64),
        style=style,
        speed=np.array([row["speed"]], np.float32),
    )
    return _resampled(sound / max(1e-3, np.abs(sound).max()) * 0.5)


def _style(shares: dict[str, float], length: int) -> np.ndarray:
    """A mixture of voices for a text of so many phonemes, (1, 256)."""
    mixed = sum(_VOICES[name][length] * share for name, share in shares.items())
    return mixed.reshape(1, -1).astype(np.float32)


def _resampled(sound: np.ndarray) -> np.ndarray:
    """24 to 16 kHz: windowed-sinc low-pass at 7.6 kHz, then every third half-sample."""
    doubled = np.zeros(2 * len(sound), np.float32)
    doubled[::2] = 2 * sound
    taps = np.arange(-60, 61)
    low_pass = np.sinc(taps * 2 * 7_600 / 48_000) * np.hamming(121)
    return np.convolve(doubled, low_pass / low_pass.sum(), "same")[::3]


def _start_worker(folder: str, device: str = "cpu") -> None:
    global _SYNTHESISER, _VOICES
    maker = _on_processor if device == "cpu" else _on_gpu
    _SYNTHESISER = maker(f"{folder}/model.onnx")
    _VOICES = dict(np.load(f"{folder}/voices.npz"))


def _on_processor(path: str) -> Callable[..., np.ndarray]:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
    return lambda **feeds: np.squeeze(session.run(None, feeds)[0])


def _on_gpu(path: str) -> Callable[..., np.ndarray]:
    import torch

    from .onnx_on_torch import Program

    torch.set_num_threads(1)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    program = Program(path, "cuda")
    return lambda **feeds: np.squeeze(program(**feeds))


class Shards:
    """Clips written to BLOB-0000.bin and so on, so many a file; labels appear when one is whole."""

    def __init__(self, blob: Path, size: int) -> None:
        self.blob, self.size, self.made = blob, size, 0
        self.clips: list[tuple[dict, bytes]] = []

    def add(self, row: dict, data: bytes) -> None:
        self.clips.append((row, data))
        if len(self.clips) == self.size:
            self.close()

    def close(self) -> None:
        """Writes what is gathered."""
        if self.clips:
            self.write(self.blob.with_name(f"{self.blob.stem}-{self.made:04d}.bin"))
            self.made, self.clips = self.made + 1, []

    def write(self, path: Path) -> None:
        path.write_bytes(b"".join(data for _, data in self.clips))
        at, lines = 0, []
        for row, data in self.clips:
            label = {"corpus": SYNTHETIC, "speaker": "+".join(row["voice"]), "split": "train"}
            label |= {"at": at, "bytes": len(data), "ph": row["ph"]}
            lines.append(json.dumps(label) + "\n")
            at += len(data)
        path.with_suffix(".labels.jsonl").write_text("".join(lines), encoding="utf-8")


class Arrays(Shards):
    """The same as BLOB-0000.npy and .json, which training reads as they are."""

    def write(self, path: Path) -> None:
        np.save(
            path.with_suffix(".npy"),
            np.frombuffer(b"".join(data for _, data in self.clips), np.int16),
        )
        at, index = 0, []
        for row, data in self.clips:
            speaker, outputs = "+".join(row["voice"]), outputs_of(row["ph"])
            index.append([SYNTHETIC, speaker, "train", outputs, at, len(data) // 2])
            at += len(data) // 2
        path.with_suffix(".new").write_text(json.dumps(index), encoding="utf-8")
        path.with_suffix(".new").rename(path.with_suffix(".json"))


@click.group(help=__doc__)
def main() -> None:
    pass


@main.command()
@click.argument("prompts", type=click.Path(path_type=Path, exists=True))
@click.argument("kokoro", type=click.Path(path_type=Path, exists=True))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--tables", type=click.Path(path_type=Path), required=True, help="misaki/data")
@click.option(
    "--lexicon",
    "labeller",
    required=True,
    help="TSV of word, American phones, British phones: the training labels.",
)
@click.option("--seed", default=1, show_default=True)
def prepare(prompts: Path, kokoro: Path, out: Path, tables: Path, labeller: str, seed: int) -> None:
    chance = random.Random(seed)
    vocabulary = json.loads((kokoro / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    held = TEST_VOICES | DEVELOPMENT
    voices = sorted(set(np.load(kokoro / "voices.npz").files) - held)
    sounds = {accent: Pronouncer(tables, accent) for accent in ("gb", "us")}
    lines = Path(labeller).read_text(encoding="utf-8").splitlines()
    phones = {w: {"us": us, "gb": gb} for w, us, gb in (line.split("\t") for line in lines)}
    with out.open("w", encoding="utf-8") as file:
        for line in prompts.read_text(encoding="utf-8").splitlines():
            words = line.split()
            accent = chance.choice(("gb", "us"))
            if any(word not in phones for word in words):
                continue
            labels = {word: phones[word][accent] for word in words}
            text, said = sounds[accent].sentence(words, labels, chance)
            ids = [vocabulary[symbol] for symbol in text if symbol in vocabulary]
            if not 0 < len(ids) < 190:
                continue
            row = {
                "ids": ids,
                "voice": random_voice(voices, chance),
                "manner": random_voice(voices, chance),
                "speed": round(chance.uniform(*SPEEDS), 2),
                "ph": said,
            }
            file.write(json.dumps(row) + "\n")


@main.command()
@click.argument("rows", type=click.Path(path_type=Path, exists=True))
@click.argument("kokoro", type=click.Path(exists=True))
@click.argument("blob", type=click.Path(path_type=Path))
@click.option("--seconds", default=500.0, show_default=True)
@click.option("--jobs", default=multiprocessing.cpu_count, type=int)
@click.option("--skip", default=0, help="Leave out so many rows from the front.")
@click.option("--shard", default=500, show_default=True, help="Clips in a file.")
@click.option("--device", default="cpu", show_default=True, help="cpu or cuda.")
@click.option("--plain", is_flag=True, help="Write arrays as training reads them, not Opus.")
def speak(
    rows: Path,
    kokoro: str,
    blob: Path,
    seconds: float,
    jobs: int,
    skip: int,
    shard: int,
    device: str,
    plain: bool,
) -> None:
    deadline = time.monotonic() + seconds
    lines = rows.read_text(encoding="utf-8").splitlines()[skip:]
    tasks = [(json.loads(line), deadline, plain) for line in lines]
    shards = (Arrays if plain else Shards)(blob, shard)
    count = 0
    started = multiprocessing.get_context("spawn")  # a GPU is not inherited
    with started.Pool(jobs, _start_worker, (kokoro, device)) as pool:
        for result in pool.imap_unordered(_speak, tasks, chunksize=1):
            if result is not None:  # when time is up, what is left comes back empty at once
                shards.add(*result)
                count += 1
    shards.close()
    click.echo(f"{count} clips, {shards.made} files")


if __name__ == "__main__":
    main()
