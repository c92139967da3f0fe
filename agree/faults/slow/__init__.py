"""Steps and warm-ups."""
