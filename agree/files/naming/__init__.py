"""What the header of a column says: the vocabulary of eight languages, and how it is read."""
