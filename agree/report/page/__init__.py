"""The page: A4, laid out by measure."""
