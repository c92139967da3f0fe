"""One file for each format of files."""
