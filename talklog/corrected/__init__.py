"""What follows from a correction by a person. ``corrections`` puts these steps together."""
