"""Where talklog keeps the user's own files, by the customs of each system."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def user_folder() -> Path:
    """``talklog`` in the user's data folder. It need not exist."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "talklog"
