"""From a table of cells to one recording: columns, stamps and channels."""
