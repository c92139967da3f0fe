"""The error over the range of the reference."""
