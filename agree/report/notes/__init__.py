"""Sentences for notes, room by room."""
