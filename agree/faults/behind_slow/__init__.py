"""Faults of a sharp trace beside a slow one, which shows each only smeared: all are weighed at once."""
