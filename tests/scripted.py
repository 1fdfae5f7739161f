"""A recogniser that says what it was told to say, when it was told to say it."""

import json
from collections.abc import Sequence

from talklog.audio import RATE

Heard = tuple[str, float, float]  # word, start, end


class ScriptedEngine:
    """``script`` is a list of (second at which the utterance has ended, its words)."""

    name = "scripted 1"
    model = "script 00000000"

    def __init__(self, *script: tuple[float, Sequence[Heard]]) -> None:
        self.script = script
        self.streams: list[ScriptedStream] = []

    def stream(self) -> "ScriptedStream":
        self.streams.append(ScriptedStream(self.script))
        return self.streams[-1]


class ScriptedStream:
    """As strict as Vosk: a result that is not read is lost, and one read twice is empty."""

    def __init__(self, script: Sequence[tuple[float, Sequence[Heard]]]) -> None:
        self.left = list(script)
        self.ready: Sequence[Heard] = ()
        self.seconds = 0.0
        self.finished = 0

    def accept(self, block: bytes) -> bool:
        self.ready = ()
        self.seconds += len(block) / 2 / RATE
        if not self.left or self.left[0][0] > self.seconds:
            return False
        self.ready = self.left.pop(0)[1]
        return True

    def result(self) -> str:
        return self._told(self.ready)

    def final_result(self) -> str:
        self.finished += 1
        return self._told([heard for _, words in self.left[:1] for heard in words])

    def partial_result(self) -> str:
        said = [word for _, words in self.left[:1] for word, _, end in words if end <= self.seconds]
        return json.dumps({"partial": " ".join(said)})

    def _told(self, words: Sequence[Heard]) -> str:
        self.ready = ()
        result = [{"word": w, "start": start, "end": end, "conf": 0.75} for w, start, end in words]
        text = " ".join(word for word, _, _ in words)
        return json.dumps({"result": result, "text": text} if words else {"text": ""})
