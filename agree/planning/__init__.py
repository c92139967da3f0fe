"""What to record next."""
