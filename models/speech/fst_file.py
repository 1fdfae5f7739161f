"""OpenFst's binary "vector" file of standard arcs, as the installed program reads and writes it."""

from talklog.own_words.graph_file import ARC, Fst, arcs, read, write

__all__ = ["ARC", "Fst", "arcs", "read", "write"]
