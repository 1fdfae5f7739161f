"""Remarks of foreign libraries are kept off the terminal."""

from __future__ import annotations

import os
import sys
from collections.abc import Generator
from contextlib import contextmanager


@contextmanager
def hushed() -> Generator[None]:
    """Keep foreign libraries from writing remarks of their own to the terminal, past everybody."""
    try:
        kept = os.dup(2)
    except OSError:  # there is no terminal to keep clean
        yield
        return
    if sys.stderr:
        sys.stderr.flush()
    nothing = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)
