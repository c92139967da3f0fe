"""Tables to trials: sources, columns, keys."""
