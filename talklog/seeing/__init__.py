"""What the trained reader makes of a note, part by part. ``seen`` puts these together."""
