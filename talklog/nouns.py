"""The singular of a noun as it was said or written."""

from __future__ import annotations


def singular(word: str) -> str:
    """ "bushes" -> "bush", "batteries" -> "battery", "pads" -> "pad", "rim's" -> "rim"."""
    word = word.removesuffix("'s")
    if len(word) < 4 or word.endswith(("ss", "us", "is")):
        return word
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("shes", "ches", "xes", "sses")) and len(word) > 4:
        return word[:-2]
    return word.removesuffix("s")
