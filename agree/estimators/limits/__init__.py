"""Limits that hold a stated share of the errors."""
