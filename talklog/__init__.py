"""talklog: spoken workshop notes in, checked service records out, all off line."""

__version__ = "0.1.0"
