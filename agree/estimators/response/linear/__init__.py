"""Means and lags, one or two in a row, and readings between whole seconds."""
