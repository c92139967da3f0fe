"""How fast devices answer, and their best efforts."""
