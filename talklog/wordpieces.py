"""Step 4b: a word as pieces that the trained reader knows: "unloader" is "un", "##load", "##er".

From the left the longest piece that fits, as the encoder was trained (WordPiece: Schuster and
Nakajima, Japanese and Korean voice search, 2012). A piece that goes on with a word begins so: "##".
"""

from __future__ import annotations

from collections.abc import Mapping

BEGIN, END, UNKNOWN = "[CLS]", "[SEP]", "[UNK]"  # the encoder's own: of a text, and of no piece
GOES_ON = "##"
MOST, LONGEST = 6, 18  # pieces of a word, letters of a piece


def pieces_of(word: str, table: Mapping[str, int]) -> list[int]:
    """The rows of a word's pieces, one to MOST of them. ``table``: piece -> row."""
    found: list[int] = []
    for part in word.lower().replace("'", " ' ").split():
        at = 0
        while at < len(part) and len(found) < MOST:
            piece = _longest(part, at, table)
            found.append(table.get(piece, table[UNKNOWN]))
            at += max(1, len(piece) - len(GOES_ON) * bool(at))
    return found[:MOST] or [table[UNKNOWN]]


def _longest(part: str, at: int, table: Mapping[str, int]) -> str:
    start = GOES_ON if at else ""
    for end in range(min(len(part), at + LONGEST), at, -1):
        if start + part[at:end] in table:
            return start + part[at:end]
    return ""
