"""The hidden Markov models of the sounds, and their numbering as the recogniser wants it.

Phones are marked by their place in the word (B begin, I inside, E end, S single) so that word
times can be read off a path. A phone at the beginning or inside of a word takes one frame of its
own sound, then any number of blanks; the last phone of a word takes exactly one frame; the blanks
after it belong to SIL, so that pauses are seen as pauses. This is the selfless CTC topology (see
``losses``) written as a Kaldi chain model: the forward transition carries the phone's output, the
self-loop carries the blank.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .phones import BLANK, OUTPUT_OF_PHONE, PHONES

SILENCE = "SIL"
MARKED: tuple[str, ...] = ("<eps>", SILENCE, *tuple(f"{p}_{m}" for p in PHONES for m in "BIES"))
MARKED_ID: dict[str, int] = {name: index for index, name in enumerate(MARKED)}
HALF = math.log(0.5)
NO_OUTPUT = -1  # pdf class of a state that does not emit


@dataclass(frozen=True, slots=True)
class Transitions:
    """Transition ids of one marked phone: into it, and its blank loop (0 when it has none)."""

    enter: int
    loop: int


def loops(phone: int) -> bool:
    """Whether a marked phone may be followed by blanks of its own."""
    return MARKED[phone] == SILENCE or MARKED[phone][-1] in "BI"


def output(phone: int) -> int:
    """The network output of a marked phone."""
    name = MARKED[phone]
    return BLANK if name == SILENCE else OUTPUT_OF_PHONE[name[:-2]]


def transitions() -> tuple[dict[int, Transitions], int]:
    """Transition ids by marked phone, numbered as Kaldi numbers them, and the highest id."""
    table, highest = {}, 0
    for phone in range(1, len(MARKED)):
        if loops(phone):
            table[phone] = Transitions(enter=highest + 2, loop=highest + 1)
            highest += 2
        else:
            table[phone] = Transitions(enter=highest + 1, loop=0)
            highest += 1
    return table, highest


def log_probabilities() -> list[float]:
    """Log probability of each transition id, index 0 unused."""
    values = [0.0]
    for phone in range(1, len(MARKED)):
        values += [HALF, HALF] if loops(phone) else [0.0]
    return values


def marked_pronunciation(phones: list[str]) -> list[str]:
    """["TH", "AW"] -> ["TH_B", "AW_E"]."""
    if len(phones) == 1:
        return [f"{phones[0]}_S"]
    inner = [f"{phone}_I" for phone in phones[1:-1]]
    return [f"{phones[0]}_B", *inner, f"{phones[-1]}_E"]


def write_transition_model(writer) -> None:
    """Kaldi's TransitionModel with separate forward and self-loop outputs (a chain model)."""
    writer.tokens("<TransitionModel>")
    _write_topology(writer)
    writer.tokens("<Tuples>")
    writer.integer(len(MARKED) - 1)
    for phone in range(1, len(MARKED)):
        for value in (phone, 0, output(phone), BLANK):
            writer.integer(value)
    writer.tokens("</Tuples>", "<LogProbs>")
    writer.vector(log_probabilities())
    writer.tokens("</LogProbs>", "</TransitionModel>")


def _write_topology(writer) -> None:
    phones = range(1, len(MARKED))
    writer.tokens("<Topology>")
    writer.integers(list(phones))
    writer.integers([-1] + [0 if loops(phone) else 1 for phone in phones])
    writer.integer(-1)  # marks the format with a self-loop class of its own
    writer.integer(2)
    _write_entry(writer, [(0, 0.5), (1, 0.5)])
    _write_entry(writer, [(1, 1.0)])
    writer.tokens("</Topology>")


def _write_entry(writer, arcs: list[tuple[int, float]]) -> None:
    """One emitting state with the given arcs, and a final state."""
    writer.integer(2)
    for classes, leaving in (((0, 1), arcs), ((NO_OUTPUT, NO_OUTPUT), [])):
        for value in (*classes, len(leaving)):
            writer.integer(value)
        for target, probability in leaving:
            writer.integer(target)
            writer.number(probability)
