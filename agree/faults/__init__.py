"""Faulty seconds, found and set aside."""
