"""What the data do not tell, on which an answer may hang."""
