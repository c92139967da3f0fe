"""What is likely wrong, from numbers."""
