"""Tables that are no recordings."""
