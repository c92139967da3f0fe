"""Thresholds of corrections."""

# Blocks of one recording are alike, so that their spread is too small for what another day brings: there a correction
# must be better than a simpler one at this level, not by one standard error as with sessions.
BLOCK_LEVEL = 0.95
LEAST_SLOPE = 0.1        # W per W of a line through the readings: a flatter one is that of a device that shows no power
# SD between sessions, per cent, from which "no correction" is no answer where none helps: claims are 1 to 2 %, and what
# moves so much from day to day is for its maker to mend.
UNLIKE_SD_PERCENT = 1.0
# A wrong scale, or a wrong zero, is named if its interval at the first level misses none; alone only if the other's
# does not even at the second, so that a likely one is not left out.
KIND_LEVEL, KIND_ALONE_LEVEL = 0.95, 0.8
