"""Trials of several subjects: mean error, limits, shares within a limit, the error's change with the level."""
