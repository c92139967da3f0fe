"""Numbers, names and words of the story."""
