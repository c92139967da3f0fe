"""Tables of trials: pairing by key, and the check of a claim on them."""
