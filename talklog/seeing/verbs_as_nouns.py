"""A note as it was read -> which base forms of verbs are no work but the name of a thing."""

from __future__ import annotations

from talklog.mentions import near
from talklog.seeing.kinds import ReadNote
from talklog.verbs import plain_form

# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
MAYBE_NAME = 0.2  # of a word to be in the name of a thing, where a rule takes it for one
DONE = 0.2  # of a word to be a verb of work
UNKNOWN_DONE = 0.75  # the same, of a verb that the vocabulary does not know


def is_noun(note: ReadNote, at: int) -> bool:
    """Whether the base form of a verb is no work, for its state or what was done to it follows:
    "fit okay", "grease purged"."""
    words, next_ = note.words, at + 1
    named = any(m.first == m.last == at and m.name == words[at]
                for m in near(note.mentions.of("action"), at, at))  # fmt: skip
    if not named or next_ == len(words) or note.transcript.words[next_].pause_before:
        return False
    work = note.likely.words["work"]
    done = work[next_, 1] + work[next_, 2] > DONE and plain_form(words[next_]) != words[next_]
    states = near(note.mentions.of("condition"), next_, next_)
    unsure = work[at, 1] + work[at, 2] < UNKNOWN_DONE
    return bool(unsure) and (bool(done) or any(state.first == next_ for state in states))
