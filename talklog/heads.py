"""Step 4g: a word at the head of a list that says how all its values were found or left: "as left
readings, front five thou, rear eight thou". Knows no bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from talklog.mentions import Mentions
from talklog.roled import MEASURING, RoledNumber
from talklog.said import said
from talklog.scopes import STATES
from talklog.transcript import Transcript
from talklog.vocabulary import load

ROLES = {"head_as_found": "as_found", "head_as_left": "as_left"}  # list of phrases -> role


def with_heads(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers; readings behind such a head have its role, up to the next word of a role."""
    heads = [(last, role) for key, role in ROLES.items()
             for _, last in said(transcript.words, load().small_words[key])]  # fmt: skip
    if not heads:
        return tuple(roled)
    ends = {last for last, _ in heads}
    others = {cue.last for cue in mentions.cues_of(*STATES)}
    others |= {last for _, last in said(transcript.words, load().small_words["head_ends"])}
    told = sorted([*heads, *((last, "") for last in others - ends)])
    return tuple(_headed(item, told) for item in roled)


def _headed(item: RoledNumber, told: Sequence[tuple[int, str]]) -> RoledNumber:
    """A reading with the role of the head before it, if no cue stands between."""
    role = next((role for last, role in reversed(told) if last < item.first), "")
    if not role or item.role not in MEASURING:
        return item
    because = f"{item.because}; {role} by the head of its list"
    return replace(item, role=role, because=because, sure=True, chances={})
