"""Invented recordings, made anew and alike at each call."""
