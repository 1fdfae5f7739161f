"""The trained part of talklog's extractor: hand-written notes, training and evaluation."""
