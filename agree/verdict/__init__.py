"""Claims, their readings, the three-way rule, the correction."""
