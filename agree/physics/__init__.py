"""Static checks with hung masses, and power from mass, grade and losses: physics beside the recordings."""
