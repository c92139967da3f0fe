"""Clocks: their lag, steps, drift, and what tells them."""
