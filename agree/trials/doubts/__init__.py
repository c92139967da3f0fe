"""What a reader must know before trusting an answer about trials, and what is not answered."""
