"""Claim, reference, decision rule and the four meanings of a claim."""
