"""A check as text for a terminal: the first screen, and every figure after it."""
