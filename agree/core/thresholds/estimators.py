"""Thresholds of estimators: what is doubted of the data they are given."""

# --- estimators ---
TOGETHER_P = 0.001       # one-sided p of a correlation within subjects, below which a constant true value is doubted
ALIKE_P = 0.001          # p of neighbours, or errors of one session, being alike: below, a sampling without is doubted
LEAST_ALIKE = 20         # pairs below which they are not compared
SHAPE_P = 0.001          # p of skewness, or of heavy tails, below which intervals for normal errors are doubted
LEAST_SHAPE = 20         # errors below which their shape is not looked at: fewer hardly ever show it
UNLIKELY_P = 0.001       # probability of the chi-square below which the stated uncertainties are doubted
LEAST_RELIABILITY = 0.5  # share of the reference's variance that is true; below it, error outweighs the range
# What a look at the errors lets pass
TREND_PASSES = 0.25      # shift of the bias over the levels, in half-widths of the limits: a 2.5 % tail becomes 4.3
SPREAD_PASSES = 0.4      # change of the SD over the levels: a ratio of 1.5
SKEWNESS_PASSES, KURTOSIS_PASSES = 0.5, 4.0  # 0 and 3 if normal; light tails do no harm
SHARE_PASSES = (0.5, 2.0)  # times the expected share beyond a limit
# Of the residuals' SD: a coarser step of the readings pulls a line through medians to the grid (0.6 covers 87 %, 1: 38
# of 200 pairs; below 0.35 nominal; benchmarks/coverage_lines.py).
ROUNDED_COARSELY = 0.5
