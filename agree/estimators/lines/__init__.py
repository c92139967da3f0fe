"""Lines through pairs, and whether a line fits."""
