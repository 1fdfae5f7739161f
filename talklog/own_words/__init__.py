"""A user's own words, put into a copy of the speech model."""
