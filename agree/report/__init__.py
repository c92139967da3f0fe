"""Text, JSON and the page: draws stored numbers, computes no statistic."""
