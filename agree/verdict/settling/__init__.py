"""How likely a number of sessions settles a claim."""
