"""What an answer "holds" may owe to seconds, ranges or sessions that were left out."""
