"""From the bytes of a file, or a data frame, to a table of text cells."""
