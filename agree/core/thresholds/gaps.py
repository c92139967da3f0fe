"""Thresholds of a response whose trace leaves out stops; set and judged by benchmarks/recorder_gaps.py."""

# --- response across gaps ---
GAP_STOP_S = 3        # s; a shorter hole is bridged by a line, as a fault is
GAP_STOPS = 3         # stops left out, below which they move a mean by less than 0.1 %
GAP_UNKNOWN = 0.02    # share of a slow reading that may come of seconds that the sharp trace leaves out
# A filter that froze in the gap, or began anew after it, must leave less than this share of what one that went on does.
GAP_GOES_ON = 0.6
GAP_FINER = 0.98      # of what the filter from spectra leaves, that the one found second by second must fall below
GAP_AMISS = 3.0       # times what is left elsewhere (root mean squares), beyond which no filter goes on in the gap
