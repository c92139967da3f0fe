"""Courses of the error in time, within a session."""
