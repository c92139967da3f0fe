"""What pairs are made of, and what is known of them."""
