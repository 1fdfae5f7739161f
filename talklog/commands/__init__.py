"""The commands, a module for each group. They turn arguments into calls, and results into text."""
