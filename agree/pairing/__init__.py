"""From two recordings to pairs on one grid: clocks, their steps, and what vouches for a match."""
