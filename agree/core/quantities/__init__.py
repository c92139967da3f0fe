"""Units and their conversion, and the quantities that are known by name."""
