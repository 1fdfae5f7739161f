"""Vehicle identification numbers: the check digit, as a hint and never as a refusal.

Values and weights: 49 CFR 565.15(c)(4). Vehicles outside North America need not carry the digit
(ISO 3779 leaves position 9 to the maker), so a wrong one is a warning. Letters that rhyme when
spelt aloud often have one value (C and T, E and V, G and P): a right digit proves little.
"""

from __future__ import annotations

LENGTH = 17
PLACE = 8  # of the check digit, from 0
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    **{"P": 7, "R": 9},
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}


def vin_warning(serial: str) -> str | None:
    """What is odd about a serial of 17 characters; ``None`` if it is no VIN or all is well."""
    text = "".join(serial.split()).upper()
    if len(text) != LENGTH:
        return None
    if wrong := sorted(set(text) - set(VALUES)):
        return f"a VIN holds no {', '.join(wrong)}: read it again"
    rest = sum(VALUES[letter] * weight for letter, weight in zip(text, WEIGHTS, strict=True)) % 11
    expected = "X" if rest == 10 else str(rest)
    if text[PLACE] == expected:
        return None
    return (
        f"the check digit would be {expected}, not {text[PLACE]}: read it again (only vehicles "
        "for North America must carry it)"
    )
