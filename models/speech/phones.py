"""The sound inventory: the 39 ARPAbet phones of CMUdict without stress marks, and their ids.

Network output 0 is the CTC blank; phone ``PHONES[i]`` is output ``i + 1``.
"""

from __future__ import annotations

PHONES: tuple[str, ...] = (
    "AA",
    "AE",
    "AH",
    "AO",
    "AW",
    "AY",
    "B",
    "CH",
    "D",
    "DH",
    "EH",
    "ER",
    "EY",
    "F",
    "G",
    "HH",
    "IH",
    "IY",
    "JH",
    "K",
    "L",
    "M",
    "N",
    "NG",
    "OW",
    "OY",
    "P",
    "R",
    "S",
    "SH",
    "T",
    "TH",
    "UH",
    "UW",
    "V",
    "W",
    "Y",
    "Z",
    "ZH",
)
BLANK = 0
OUTPUT_OF_PHONE: dict[str, int] = {phone: index + 1 for index, phone in enumerate(PHONES)}
OUTPUTS = len(PHONES) + 1


def outputs_of(pronunciation: str) -> list[int]:
    """Network outputs of a pronunciation written as phones with spaces ("TH AW")."""
    return [OUTPUT_OF_PHONE[phone.rstrip("012")] for phone in pronunciation.split()]
