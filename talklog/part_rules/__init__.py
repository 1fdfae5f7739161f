"""The parts of ``parts``: lists of them, what cues say of one, and how many."""
