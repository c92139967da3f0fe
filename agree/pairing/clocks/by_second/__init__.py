"""Steps of a clock, second by second."""
