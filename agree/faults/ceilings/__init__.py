"""Ceilings: of a trace with one largest value, of its sensor before a filter, and with noise after the cut."""
