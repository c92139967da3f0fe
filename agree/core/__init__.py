"""What every room stands on: errors, checks, results, the one engine of intervals, pairs and numbers in words."""
