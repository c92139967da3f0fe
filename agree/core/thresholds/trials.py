"""Thresholds of tables of trials."""

# --- tables of trials (benchmarks/trials.py) ---
TRIALS_COUNTED_SHARE = 0.95    # the share of single trials, or of subjects, that a claim about them means
TRIALS_FEW_SUBJECTS = 8        # below, the tables of coverage say nothing: the smallest number they were made for
# Missing readings lie at one end of the range where a missing trial is further out than a held one in this share of all
# pairs of them: 0.5 by chance, 1 where every one is (a choice, not measured; it decides what is said, not the answer).
TRIALS_ONE_END = 0.9
# A trial is named as far off beyond so many robust SDs, if it is so many times as far as the furthest that is not, and
# so large a share is at most; and a 0 of one method beside so much of the other's median (benchmarks/trials_odd.py).
TRIALS_FAR_OFF, TRIALS_APART, TRIALS_MOST_FAR_OFF, TRIALS_ZERO_BESIDE = 12.0, 3.0, 0.05, 0.2
# Subjects with names like S01_1 are trials of one person if levels are so much alike in S01 (intraclass correlation, p
# of its F test): men and women under M_1 and F_1 reach 0.6 to 0.7, jumps of one person 0.9 and more (a choice).
TRIALS_PERSONS_ALIKE, TRIALS_PERSONS_P = 0.85, 0.001
TRIALS_SKEW = 3.0              # skewness of subjects' means over its standard error: beyond, they are not normal
TRIALS_SKEW_MARGIN = 3.8       # skewed errors leave 1 + this/S^(3/4) times what allows for skew in 2.5 % of studies
TRIALS_SPREAD_GROWS = 2.58     # Kendall's score of spread on level: 1 % of studies whose spread is alike at all levels
TRIALS_NOISY_REFERENCE = 0.1   # share of the limit that the reference's own noise may add to a mean per cent
# An answer from normal errors "holds" unasked if it does within the limit over this: wrong in <= 2.5 % of studies at
# the border with lognormal errors (skewness 3.7), t with 3 df, 4 % wild, a spread that grows with the level.
TRIALS_HOLDS_MARGIN = 1.8
TRIALS_FAILS_MARGIN = 2.0      # likewise "does not hold" beyond this times the limit
TRIALS_NORMAL_FAILS = 1.1      # with normal errors assumed: at the limit itself 2-9 % were wrong at 8 to 40 subjects
# Steps of the readings above this part of the limit move counted shares: at a fiftieth, the step that the limit cuts
# holds 0.5 % of normal errors of which 95 % are within; half of that is the most that rounding moves over it.
TRIALS_COARSE_STEP = 0.02
# Seconds of the reference before the device's first row or after its last that are told: recorders are started and
# stopped up to a minute apart by hand (common practice).
QUANTITY_ROWS_S = 60
# Units mixed up: methods that differ by over a quarter, and by under 5 % once one is read in another unit. The nearest
# two units that people mix up are 1.36 apart (kW and PS); no device is sold with errors of a quarter.
MIXUP_APART, MIXUP_NEAR = 0.25, 0.05
TRIALS_LIMIT_OF_READINGS = 0.5  # of the usual reading: a larger limit, in a unit no column names, is of another unit
