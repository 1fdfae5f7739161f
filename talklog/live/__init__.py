"""Listening while the mechanic talks: sound in, words and verdicts out as they come."""
