"""One file for each format of recorders and tables: bytes to a `Table`."""
