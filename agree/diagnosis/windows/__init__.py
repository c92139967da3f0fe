"""Causes fitted to window means."""
