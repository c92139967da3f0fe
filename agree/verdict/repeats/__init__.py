"""Sessions that are one ride: given twice, overlapping, copied with noise, played backwards."""
