"""One HTML file that needs nothing else: tables, pictures with live text, a small script of our own."""
