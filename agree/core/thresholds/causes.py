"""Thresholds of causes."""

# --- causes (benchmarks/diagnosis.py) ---
LEAST_CAUSE_WINDOWS = 20   # windows of 30 s of pedalling; below, causes are not told apart
# Windows of 30 s in a long one: 4 min, several times the slowest response that is looked for, 60 s. And how many more
# there must be than coefficients: below, their scatter is not known.
LONG_OF_WINDOWS, LONG_LEFT_OVER = 8, 3
NAMED_STRENGTH = 0.99      # level of the interval that must miss 0 for a cause to be named
BEND_STRENGTH = 0.999      # the same for an error that bends with power: two shapes at seven powers are tried
# Largest change of slope, W per W, of a bend: true ones of 0.05 to 0.3 were made; -1.2 to 0.76 came of ceilings set
# aside, and of changes that the two answered in unlike times.
LARGEST_BEND = 0.5
HINT_STRENGTH = 0.9        # level from which scale or offset may be there too
APART_STRENGTH = 0.9       # level at which a cause must fit better than another to exclude it
# The same for a zero in W and one in N m: of 240 at cadences of an SD of 8 rev/min and more, 11 were told as the other
# alone with 0.9, now 4; 152 are told as what they are alone, 185 before.
ZERO_APART_STRENGTH = 0.98
WORTHWHILE_PERCENT = 0.3   # least size of a cause: RMS of its part in window means, per cent of mean power
# Of a scale, or WORTHWHILE_PERCENT if that is more: by which the lowest and the highest third of power may show another
# one, for it to be said to be the same at every power (a choice: a reader of 20.7 % and 26.1 % takes them for two).
FIXED_SHARE = 0.2
# Least that warm-ups move the mean error of all sessions, per cent: a false one of 5 min in one session of five moved
# it by 0.04; a true one of 4 % with a time constant of 5 min moves that of an hour by 0.3.
WARM_MEAN_PERCENT = 0.1
POWER_RANGE = 1.5          # 95th over 5th percentile of power, below which scale and offset look alike
CADENCE_RANGE = 1.1        # the same for cadence, W and N m
LEAST_WARMTH = 2.0         # range of temperature, degrees C
MOST_CAUSES = 4
# Two kinds of zero whose sum is below this share of the larger one take one another away (-433 W and 48 N m of a cut
# sensor, 12 W and 1.4 N m of a device that repeats its reading: below 0.2).
CANCEL_SHARE = 0.4
CAUSE_COST = 2.0           # times ln n_eff for each cause: twice the usual, since several are tried
# What a course in time that is no straight drift costs more, in causes; and chi-squared by which another course may fit
# worse than the best and still be the true one (three degrees of freedom, 99 %).
COURSE_COST, COURSE_GAIN = 0.5, 11.34
COURSE_STRENGTH = 0.995    # level for a course in time that is no straight drift to be named: many are tried
POWER_IN_TIME = 0.7        # correlation of power with time, from which on what goes with one may go with the other
# Change of power from one second to the next, of its mean, beside which the seconds of a pair that differs by
# a part of a second are left out: sprints rise by 2 to 6; of four real rides 1 to 2.5 % are within 2 s of one.
JUMP_SHARE = 1.0
ROUNDING_SHARE = 1e-4      # of mean power: scatter of window means below this is rounding, not evidence
SCALES_SD_PERCENT = 3.0    # supposed spread of scales of any origin: claims are 1 to 3 %, 5 % is rare
TELLTALE_ODDS = 2.0        # by which a tell-tale size must foretell a scale better than scales of any origin do
TELLTALE_LEFT = 0.5        # of a scale's part that an offset may take away before its size tells no origin
LOSS_STRENGTH = 0.5        # at most: a loss looks like an offset with a scale
HINT_LAST = 0.5            # strength below which a cause is a hint and is told after the others
DELAY_S = 0.3              # least mean delay, and least SD of a delay, worth naming, s
LEAST_MEAN_S, LEAST_LAG_S = 2.0, 0.8  # of a running mean, s, and of a time constant: below, a fraction of delay
# A rough delay, s, or ratio of the variances of 1-s changes: nearer to none, the response is not fitted.
SCREEN_DELAY_S, SCREEN_RATIO = 0.15, 0.85
# Share of the seconds, those in which the reference changes least for its power, that scatter is taken from. In all of
# them ceilings beside delays had 4.0 to 4.5 %, devices that repeat a reading 6.8 to 8.3 %; so, 1.9 and 2.1 to 3.2 %;
# of one side 2.9 to 3.6 % either way.
CALM_SHARE = 0.75
# What scatter of the other seconds must be below, of that: 1.1 to 1.25 of one side, 2.8 to 5.3 of those devices.
SCATTER_ELSEWHERE = 1.7
SCATTER_PERCENT = 4.0      # scatter within 15 s from which on one side stands before other causes than a scale
SCATTER_EXPONENT = 0.5     # its growth with power must be above this: 0 for noise in W, 1 for a share of power
SCATTER_RATIO = 1.1        # least ratio of variances of 1-s changes, device over reference
# SD, % of power, of a share that wanders over 30 s to 2 min: at most 0.45 of honest totals, with all errors that were
# put in, 0.73 between two real recorders, 1.0 to 2.8 of one side of a rider whose share has an SD of 1 or 2 points.
SIDE_WANDER_PERCENT = 1.0
SIDE_SCATTER_PERCENT = 2.5  # least scatter of a device that senses one side, or is noisy in proportion to power
SIDE_STRENGTH = 0.9        # at most: a noisy device that wanders looks alike
SIDE_SCALE_PERCENT = 12.0  # largest scale, %, that a rider's sides can make: three times the SD of twice their share
LEAST_MEAN_W, MOST_MEAN_W = 1.0, 1e5  # of mean power: beyond, it is no rider's and nothing is looked for
LEAST_PATTERN_EVENTS = 5   # events of a kind of fault, from which on what goes with them is judged
PATTERN_P = 0.01           # chance, over all moments tried, below which a pattern is named
# Of the mean error, what a response that does not keep energy may leave, for it to explain that error: then no scale
# and no zero is wrong, and none is entered.
RESPONSE_EXPLAINS = 0.3
