"""Step 4d: what the trained reader makes of a note, in plain types. Knows no bands.

The reader gives probabilities; here they become things with their names, work, states, parts and
later work at words of the note, and for each number how probable its roles, quantities and things
are. Nothing is decided about numbers: that is for the steps behind, which know the rules too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from talklog.clues import find_clues, find_landmarks, find_pauses
from talklog.errors import DataFileError
from talklog.mentions import Mentions
from talklog.numberclues import number_clues
from talklog.roled import RoledNumber
from talklog.seeing.cuts import find_cuts
from talklog.seeing.kinds import ReadNote, Seen
from talklog.seeing.number_chances import see_numbers
from talklog.seeing.spans import over
from talklog.seeing.tellings import Asks, find_fates, find_laters, find_states, find_works
from talklog.seeing.things import find_things
from talklog.transcript import Transcript

if TYPE_CHECKING:
    from talklog.notereader import Likely, NoteReader

FOLDER = Path(str(files("talklog"))) / "data" / "reader" / "note_reader"
# Probability of a word to be in a state, a part or a verb of work, where a rule takes it for one;
# chosen on the notes of dev and check: see models/extractor/README.md.
MAYBE = 0.2
SURE_STATE = 0.5  # the same, of a verb that was denied: "door not locked"


@lru_cache(maxsize=1)
def reader() -> NoteReader:
    """The reader with its weights. Raises DataFileError when its folder is not whole."""
    from spacy.vocab import Vocab

    from talklog.notereader import load as load_reader

    try:
        return load_reader(Vocab(), FOLDER)
    except (OSError, ValueError, KeyError) as error:
        raise DataFileError(
            f"{FOLDER}: the trained reader cannot be loaded ({error}); install talklog again"
        ) from error


def see(transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]) -> Seen:
    """What the reader makes of a note and its numbers."""
    return seen_by(reader(), transcript, mentions, roled)


class Reads(Asks, Protocol):
    """What ``notereader.NoteReader`` does."""

    def read(self, note: Any) -> Likely: ...


def seen_by(
    by: Reads, transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> Seen:
    """The same by any reader."""
    if not transcript.words:
        return Seen((), (), (), (), (), (), {})
    likely = by.read(_clues_of(transcript, mentions, roled))
    words = [word.text for word in transcript.words]
    note = ReadNote(transcript, mentions, likely, words)
    return _seen(replace(note, things=tuple(find_things(note))), roled, by)


def _seen(note: ReadNote, roled: Sequence[RoledNumber], by: Reads) -> Seen:
    labels = note.likely.words
    sure_states = over(1 - labels["state"][:, 0], SURE_STATE)
    return Seen(
        things=note.things,
        numbers=see_numbers(note, roled),
        works=tuple(find_works(note, by)),
        states=tuple(find_states(note, by)),
        fates=tuple(find_fates(note, by, MAYBE)),
        laters=tuple(find_laters(note, by)),
        cuts=dict(find_cuts(note, roled)),
        maybe_works=over(1 - labels["work"][:, 0], MAYBE),
        maybe_states=over(1 - labels["state"][:, 0], MAYBE),
        sure_states=sure_states,
        no_works=sure_states & over(labels["work"][:, 0] - labels["state"][:, 0], 0),
    )


def _clues_of(transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]) -> Any:
    from talklog.notearrays import NoteClues

    return NoteClues(
        said=[word.text for word in transcript.words],
        words=find_clues(transcript, mentions, roled),
        numbers=[(item.number.first, item.number.last, item.last) for item in roled],
        number_clues=number_clues(transcript, mentions, roled),
        landmarks=find_landmarks(transcript, mentions, roled),
        pauses=find_pauses(transcript),
    )
