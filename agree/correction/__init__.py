"""Which correction to enter, and corrected copies of recordings."""
