"""What belongs to a number, one thing after the other. ``context`` puts these steps together."""
