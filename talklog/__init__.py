"""talklog: spoken workshop notes in, checked service records out, all off line."""

import os

__version__ = "0.1.0"

# The arrays of a note are small: several threads would only wait for each other, and did so for two
# thirds of the time. Before NumPy is imported anywhere; whoever sets it otherwise keeps that.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
