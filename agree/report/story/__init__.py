"""The story of a check: its facts as short sentences and rows, which text, page and HTML set and do not change."""
