"""Files of sound, opened by the library that can. ``audio`` is the only one to ask."""
