"""Results: their base, notes, numbers in words, and the seam to the report."""
