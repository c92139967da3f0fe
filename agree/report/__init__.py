"""Text, JSON and pages: draws stored numbers, computes no statistic."""
