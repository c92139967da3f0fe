"""Thresholds of quantities other than power."""

# --- quantities other than power (benchmarks/quantities.py) ---
DELAY_CERTAIN_S = 2.0    # s: absolute clocks of recorders set by satellite or phone differ by less
ALIKE_PEAKS = 2.0        # of the misfit at the best lag: within, a peak nearer to 0 is taken; equal efforts repeat
FAR_LAG_FIT = 0.7        # correlation of changes from which a lag beyond 2 min is believed, of clocks without a date
ROUNDING_LAG = 0.15      # u of a lag over step/slope: half of the largest error found with smooth, rounded traces
LEAST_LAG_FIT = 0.5      # correlation of the changes below which no lag is told
MOST_LAG_SE_S = 5.0      # s: a lag known no better is not told
AVERAGING_GAIN = 0.8     # of the misfit: what a wider running mean must leave at most for averaging to be named
# Errors about their mean so many times as wide must stay within, for "holds" without counting: at the border wrong in
# 1.3 % of 600 studies of 12 lognormal errors (skewness 3.7) with a mean of 1.5 or 5 SD, less of 24 and 48; of normal,
# t and wild ones in none of 250.
SPREAD_MARGIN = 2.6
LOCK_NEAR, LOCK_AWAY = 3.0, 8.0  # steps/min to a multiple of the cadence when locked; least from the reference
LOCK_S = 30              # s: shorter crossings of the two happen by chance
HALF_NEAR, HALF_S = 0.05, 5  # of the ratio around 1/2 and 2; s
FROZEN_LONG_S = 20       # s of one value: a resting heart keeps one for some 10 s
# Correlation of 30-s means below which a device does not follow a reference that moves by the limit: its errors are
# twice the limit and more. One value in so many seconds stands still beside a quarter of it.
LEAST_FOLLOWS, STILL_SHARE, STILL_MOVES = 0.4, 0.9, 0.25
EXCHANGED_POINTS, EXCHANGED_SHARE = 2.0, 0.5  # nearer to 50 % both sides look alike; most of what can be told
