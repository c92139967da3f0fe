"""Thresholds that decide an answer or name a finding, room by room, each with its reason or benchmark."""

# --- slow faults (benchmarks/slow_faults.py) ---
STEP_T = 5.0             # standard errors of a step at the end of a coasting: 1 false one in 70 h, where errors wander
STEP_T_ELSEWHERE = 6.0   # of a step at any other place: some 120 places an hour are tried instead of a handful
LEAN_STEPS, LEAN_T = 2, 3.0  # steps, beside which no drift and no slow wave has so many standard errors
STEP_LEAST_W = 1.0       # W: the resolution of readings
SLOW_LEAST_S = 600       # s of pedalling below which nothing slow is looked for
STEP_LASTING_S = 120     # s of pedalling on either side of a step
STEP_PLACE_GAIN, WARM_COURSE_GAIN = 3.84, 7.81  # chi-squared by which another place, or course, may fit worse
WARM_T = 5.0             # standard errors of a warm-up: 32 courses are tried
WARM_SHARE = 0.01        # of mean power: less is below what a claim of 1 % turns on
# --- pairing ---
MIN_OVERLAP_S, MIN_OVERLAP_SHARE = 60, 0.3  # readings in common at a lag; share of those of the shorter trace
# Strength of a match = artanh(correlation) * sqrt(seconds compared). Over all lags, 5462 wrong pairings of pieces of 5
# real rides (2 to 40 min) reached at most 17.2, and 3 passed all three limits below; 19 of whole rides reached 13.3.
# A real pair with 20 W of noise added had at least 23 in pieces of 10 min and 61 in pieces of 40; as it is, whole, 125.
MIN_STRENGTH = 15.0
MIN_CORRELATION = 0.3  # on very long rides, where the strength alone would admit less
MAX_RIVAL = 0.75  # strength of the best distinctly different lag, as a share of the best
MAX_ALIKE = 0.97  # correlation there, as a share of the best: equal intervals are alike at several lags
DISTINCT_LAG_S = 10  # lags nearer than this to the best one belong to the same match
GIVEN_LAG_S = 1.5  # a lag that is given, and the best one, may differ by so much in silence
ONE_CLOCK_S = 10.0  # in one file a device may report late, but not by more
# Clocks that are set differ by less; so much, and a quarter of the way to the next best lag, stamps are trusted with
# where the traces are alike at several.
STAMPS_S, STAMPS_RIVAL_SHARE = 30.0, 0.25
# Steady power, in a match that is weak: 5-s means of the fast changes have a standard deviation of less than 5 % of the
# median working power (0.12 or more in any 10 min of 5 real rides); or of 10 % and 1.5 times that of white noise.
STEADY_SHARE, STEADY_NOISY_SHARE, STEADY_NOISE = 0.05, 0.1, 1.5
# Cadence stands still and speed is slow, so chance makes them more alike than power. Of 632 wrong pairings of pieces
# of 5 real rides (10 to 60 min) cadence reached a strength of 19.8, and speed, calculated from power, 23.8.
CADENCE_STRENGTH, SPEED_STRENGTH = 25.0, 35.0
AGREES_S, AGREES_SE = 3.0, 3.0  # a witness may differ by so much: a mean over some seconds delays power, not cadence;
CONTRADICTS_S = 10.0  # one further away is of another ride, or another clock
DRIFT_SE, DRIFT_S, DRIFT_WINDOWS = 3.0, 0.5, 6  # a drift is taken out beyond both, if so many windows tell of it
ZONE_STEP_S, ZONE_NEAR_S = 900, 120  # zones differ by whole quarter hours, and clocks by less than 2 min
UNUSUAL_LAG_S = 600  # beyond it, a lag of two clocks of one kind is said
UNLIKE_MINUTES, USUALLY_ALIKE = 4, 0.8  # minutes in a row that are not matched are noted, where so many others are
# Wilson's lower limit of the share of minutes that are more alike at the lags found than at 64 shifts. On 28 of 55 real
# rides, wrong pairs reached 0.09 without steps of a clock and 0.28 with steps put in freely; true ones had 0.44 or more
# with any device tried (means over up to 30 s, 20 W of noise). Judged on the other 27: docs/measured/same-ride.md.
LEAST_LIKENESS = 0.30
LEAST_STEPPED_LIKENESS = 0.40
# The same for changes within 15 s, where those of both are of like size: of 139 pairs of one course or plan on two
# days, the one that passed all else had 0.01; any device of one ride 0.13 or more (10-s mean with 8 W of noise; sharper
# ones 0.35). A 10-s mean leaves a ratio of 0.44 to 0.64, one of 30 s 0.15 to 0.25, for which it is not asked.
LEAST_RAPID_LIKENESS = 0.10
MOST_RAPID_RATIO = 2.0
# Up to four times less in one of them (less is a mean over 20 s and more): it averages if, with both made equally
# smooth, they are alike, or if what is left is noise. True pairs whose rapid changes are not alike: 0.43 and more with
# noise of 4 W, 0.38 with 8 W, and a colour up to 0.22. The 17 wrong ones of 400: up to 0.65, and from 0.30 on. Settled
# on half of the rides.
LARGEST_RAPID_RATIO = 4.0
LEAST_EVEN_LIKENESS = 0.70
MOST_LEFT_COLOUR = 0.26
# Up to this limit of rapid changes of like size, the colour and less evenness are asked: two efforts on one plan of a
# trainer had 0.19 to 0.25, 0.20 to 0.24 even; true pairs with a fifth of partial readings 0.22 and more, 0.36 even.
SURE_RAPID_LIKENESS, LEAST_SURE_EVEN = 0.35, 0.30
# With fewer minutes than tell a share: the same colour, and less than half of the minutes alike. Ten minutes of two
# rides that were alike in one event had 0 of 1; of 407 true pairs of 130 to 280 s those with a colour had half or more.
LEAST_EVEN_SHARE = 0.5
LIKENESS_WINDOWS = 5  # minutes that tell anything; with fewer the limit of a share says little
# Seconds of 0 far from all coasting of the other trace, over those in which both work: with more, zeros tell the clocks
# nothing. Sound devices of 55 real rides have fewer than 0.005; 2 % of dropouts had 1 of 3 true pairs refused.
GROSS_ZEROS = 0.01
# Quartz clocks of recorders stray by some 20 to 100 ppm over the temperatures of a ride (common knowledge of the
# trade); beyond thrice that, seconds are lost.
MOST_DRIFT_PPM = 300.0
MOST_DRIFT_S = 4.0  # over a recording, beyond that limit, however uncertain: pauses of 3 to 7 s not told apart
EXCURSION_S = 900  # a lag that comes back within this was not lost by one clock and then as much by the other one
DAY_APART_S = 15 * 3600.0  # zones differ by 14 h, and an hour for daylight saving, at most
DELAY_LEAST_S = 1.0  # stamps are whole seconds: less, or a difference of less between power and cadence, tells nothing
CLOCK_ALONE_S = 60.0  # no device holds back power for a minute; heart rate, the slowest channel in use, follows in less
MOST_CLOCK_STEPS = 60  # an hour's ride with a stop every minute; beyond it, a recorder counts rows
# --- tables of trials (benchmarks/trials.py) ---
TRIALS_COUNTED_SHARE = 0.95    # the share of single trials, or of subjects, that a claim about them means
TRIALS_FEW_SUBJECTS = 8        # below, the tables of coverage say nothing: the smallest number they were made for
# Missing readings lie at one end of the range where a missing trial is further out than a held one in this share of all
# pairs of them: 0.5 by chance, 1 where every one is (a choice, not measured; it decides what is said, not the answer).
TRIALS_ONE_END = 0.9
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
# --- files and recordings ---
# Median of the readings that are not 0, in the quantity's unit; outside, the unit or the column is questioned, nothing
# is refused. A rider's median lies at 50-400 W, a sprint's at up to 1,500 W (trade); 0.2 is kW, 3 is W/kg, 2,000 is
# tenths of a watt. The other ranges are what a healthy adult at work shows (common practice).
TYPICAL_MEDIAN = {
    "power": (15.0, 1_500.0), "heart rate": (40.0, 220.0), "speed": (0.5, 25.0), "pace": (0.5, 25.0),
    "cadence": (20.0, 150.0), "torque": (2.0, 150.0), "balance": (25.0, 75.0), "core temperature": (35.0, 41.0),
    "oxygen uptake": (0.2, 7.0)}
# Seconds since 1989-12-31 (the epoch of FIT) of 2013 to 2029, taken as seconds since 1970, are dates of 1993 to 2009,
# from when there are hardly any recordings.
FIT_SECONDS = (725_000_000.0, 1_262_000_000.0)
ROWS_PER_MINUTE_STAMP = 5.0  # rows that share a stamp to the minute on average, where a step is whole minutes
# Distinct endings of HHMMSS read as a plain number, none of them 60 to 99, before it is taken for a time of day: by
# chance 0.6 ** 10, 0.6 %, were they spread evenly; seconds in a row cannot pass 59 without showing 60.
HHMMSS_ENDINGS = 10
MIN_POWER_W, MAX_POWER_W = -2_000.0, 20_000.0  # beyond, no power: refused
MAX_SPAN_S, MIN_MEAN_STEP_S = 7 * 86_400.0, 1e-3  # longest recording; least mean step of a column of seconds
# What `look` distrusts in one recording: common practice, which proves no fault. A gap is a step longer than both.
LOOK_GAP_STEPS, LOOK_GAP_S = 2.5, 2.0
LOOK_HIGH_W, LOOK_HIGH_RPM, LOOK_WORKING_W, LOOK_TURNING_RPM = 2_500.0, 200.0, 20.0, 30.0
LOOK_HELD, LOOK_CEILING, LOOK_CONFLICT = 10, 3, 3  # readings in a row
LOOK_SPIKE_READINGS, LOOK_SPIKE_FACTOR, LOOK_SPIKE_W = 9, 3.0, 300.0
# --- estimators ---
TOGETHER_P = 0.001       # one-sided p of a correlation within subjects, below which a constant true value is doubted
ALIKE_P = 0.001          # p of neighbours, or errors of one session, being alike: below, a sampling without is doubted
LEAST_ALIKE = 20         # pairs below which they are not compared
UNLIKELY_P = 0.001       # probability of the chi-square below which the stated uncertainties are doubted
LEAST_RELIABILITY = 0.5  # share of the reference's variance that is true; below it, error outweighs the range
# What a look at the errors lets pass
TREND_PASSES = 0.25      # shift of the bias over the levels, in half-widths of the limits: a 2.5 % tail becomes 4.3
SPREAD_PASSES = 0.4      # change of the SD over the levels: a ratio of 1.5
SKEWNESS_PASSES, KURTOSIS_PASSES = 0.5, 4.0  # 0 and 3 if normal; light tails do no harm
SHARE_PASSES = (0.5, 2.0)  # times the expected share beyond a limit
# --- quantities other than power (benchmarks/quantities.py) ---
DELAY_CERTAIN_S = 2.0    # s: absolute clocks of recorders set by satellite or phone differ by less
ALIKE_PEAKS = 2.0        # of the misfit at the best lag: within, a peak nearer to 0 is taken; equal efforts repeat
FAR_LAG_FIT = 0.7        # correlation of changes from which a lag beyond 2 min is believed, of clocks without a date
ROUNDING_LAG = 0.15      # u of a lag over step/slope: half of the largest error found with smooth, rounded traces
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
# --- Response (agree/estimators/response) ---
# Mean square left over that of chance: 0.8 to 1.5 for filters of a known kind, 1.4 to 8 for others (two filters, a
# filter at low cadence only), by benchmarks/response.py.
RESPONSE_MISFIT = 1.8
PURE_LAG_S = 0.1  # s; a lag, or mean, so near to whole seconds is whole: it moves an error less than rounding does
# --- Faults of single readings (agree/faults), set by benchmarks/response_faults.py ---
WORKING_W = 15.0           # a trace above this is working, not coasting
USUAL_RATIO = (0.7, 1.4)   # ratios further than this from their median do not move it
# A claim of lacking energy C holds if the budget B around it is at least 0.6 C and 4 of its own standard errors: what a
# slow response moves to neighbouring seconds comes back within the window, what a fault lost does not.
CLAIM_SHARE, CLAIM_ERRORS = 0.6, 4.0
CLAIM_MARGIN_S = 3         # s on either side of a claim over which its energy is balanced
CLAIM_UNKNOWN = 0.2        # share of the window that may be unknown
CLAIM_AT_STOP_S = 0.5      # s of usual power that a claim beside coasting must be worth: stops differ by rounding
CLAIM_LEAST_S = 0.25       # the same of any other dropout: a single 0 at 20 W is what noise or rounding made
# More stops show a claim than two, a quarter of them, and what zeros strewn over the ride bring there by chance, by so
# many standard deviations (Poisson): then it is how the two traces stop.
STOPS_LEAST, STOPS_SHARE, STOPS_CHANCE_SD = 2, 0.25, 3.0
# Runs of one value that misfit as much as 5 % of all windows or less, and that chance would bring with such a misfit in
# fewer than 0.01 of such recordings, are held; so are those that misfit more than half of all windows and that chance
# would bring in fewer than 0.0001.
HELD_EXPECTED, HELD_LIKE = 0.01, 0.05
HELD_COMMON, HELD_RARE, HELD_LEAST_S = 0.5, 1e-4, 4
# A partial reading shorter than this must begin and end with jumps that the other trace does not show, or its budget be
# so many standard errors.
PARTIAL_SHORT_S, PARTIAL_ERRORS = 10, 10.0
# Above 1.04 times the top, and two standard deviations, 70 % of at least 5 seconds sit at the top: it is a ceiling.
CEILING_OVER, CEILING_SD, CEILING_SECONDS, CEILING_AT = 1.04, 2.0, 5, 0.7
CEILING_BESIDE_S = 2  # s: a reading may come so much earlier or later than what foretells it, before it is no top
# W, or share of the top, below it that count as at it, and W if most are; readings so many times usual make no top;
# foretold to be so near to it is noise; a trace at its top for such a share of its working seconds is steady, not cut.
CEILING_NEAR, CEILING_SHARP_W, CEILING_BEYOND, CEILING_BELOW, CEILING_MOST_SHARE = (1.0, 0.002), 0.5, 2.0, 0.96, 0.5
SPIKE_FACTOR, SPIKE_W, SPIKE_S = 2.0, 100.0, 3   # over twice what is usual and 100 W, for at most 3 s
SPIKE_NEAR_S, SPIKE_OWN_S = 2, 9   # s beside it of the other trace, and s around it of its own whose median is usual
SPIKE_RISE_W = 50.0  # half of the least height: at its first second a spike rises from the one before
PARTIAL_SHARES = ((0.5, 0.06), (0.25, 0.04))  # what a lost half or quarter leaves of the usual, and how nearly
PARTIAL_S, PARTIAL_LEAST_W = 3, 40.0  # of less power a half is not told from a few watts of offset
PARTIAL_MOST_SHARE = 0.5  # of the working seconds: beyond that it is a matter of scale
# The other trace's jumps at the edges, as a share of the trace's own, up to which the side is sure, and likely.
PARTIAL_SURE_JUMP, PARTIAL_LIKELY_JUMP = 0.5, 0.6
PARTIAL_COASTS = 0.5  # of its seconds in which the other trace coasts: what is left there is how a filter dies away
EARLY_END_S = 5      # working seconds of the other trace: a device may hold its last reading for 3 s
LATE_S = 3           # the same at a late start; after a rest so long, and silent for so long before its end
LATE_REST_S, LATE_SILENT_S = 60, 10
FROZEN_S, FROZEN_CHANGE = 5, 0.2  # s of one value while the other trace ranges over more than this of its largest
# --- verdict (benchmarks/verdict_sessions.py, benchmarks/verdict_bands.py) ---
HALF_WEIGHT_S = 300.0    # s: a session so long counts half of an endless one; with 13 min 92.7 % are covered
LEAST_FOR_PROBABILITY = 3  # sessions; with 2, "P > 99 %" came true in 88-92 % of tests
ODD_LEVEL = 0.05         # two-sided, shared by all sessions (Bonferroni): false alarms in at most 5 % of tests
TREND_LEVEL = 0.05       # two-sided: a change from session to session is named, and a correction not called stable
SWAPPED_PERCENT = 0.5    # an odd session within this of the others' error turned round: its files look exchanged
LEAST_COMMON_S = 60      # s of the same readings in both recordings of two sessions: no two rides repeat these
# Correlation of second differences at the best lag: one ride with 10 W of noise added 0.84 to 0.93, two days of one
# programme at most 0.8; two devices on one ride 0.5, different days below 0.15 (tests/verdict/test_near_copies.py).
NEAR_COPY, ALIKE_RIDES, LEAST_ALIKE_S = 0.82, 0.4, 300  # the last: s in common; shorter ones are alike by chance
# s between the end of one ride and the start of another session: recorders that pause by themselves, a stop and laps
# saved as files leave minutes; a new zero and other temperatures take longer (common practice, not measured).
LEAST_APART_S = 600.0
LEAST_LEVEL = 0.5        # an interval that misses more often than it holds settles nothing; usual are 0.90 to 0.99
MOST_LOSS = 30.0         # % of power: a chain loses 1-5, a badly kept drivetrain 15 (trade, recalled); beyond, a slip
MOST_OFF = 50.0          # %: a reference that may be off by more is none; a slip of the decimal point
LEAST_BAND_S = 60        # a band with fewer seconds is shown, not judged
BAND_STEP_W = 5.0        # W: edges of bands and stretches are rounded to this
POOL_LEVEL = 0.95        # bands are pooled at this level and above: at 0.90 a wrong "holds" came in 7.8 %
# --- causes (benchmarks/diagnosis.py) ---
LEAST_CAUSE_WINDOWS = 20   # windows of 30 s of pedalling; below, causes are not told apart
NAMED_STRENGTH = 0.99      # level of the interval that must miss 0 for a cause to be named
BEND_STRENGTH = 0.999      # the same for an error that bends with power: two shapes at seven powers are tried
HINT_STRENGTH = 0.9        # level from which scale or offset may be there too
APART_STRENGTH = 0.9       # level at which a cause must fit better than another to exclude it
WORTHWHILE_PERCENT = 0.3   # least size of a cause: RMS of its part in window means, per cent of mean power
POWER_RANGE = 1.5          # 95th over 5th percentile of power, below which scale and offset look alike
CADENCE_RANGE = 1.1        # the same for cadence, W and N m
LEAST_WARMTH = 2.0         # range of temperature, degrees C
MOST_CAUSES = 4
CAUSE_COST = 2.0           # times ln n_eff for each cause: twice the usual, since several are tried
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
SCATTER_PERCENT = 4.0      # least scatter within 15 s of a device that senses one side
SCATTER_EXPONENT = 0.5     # its growth with power must be above this: 0 for noise in W, 1 for a share of power
SCATTER_RATIO = 1.1        # least ratio of variances of 1-s changes, device over reference
SIDE_STRENGTH = 0.9        # at most: a noisy device that wanders looks alike
LEAST_MEAN_W, MOST_MEAN_W = 1.0, 1e5  # of mean power: beyond, it is no rider's and nothing is looked for
LEAST_PATTERN_EVENTS = 5   # events of a kind of fault, from which on what goes with them is judged
PATTERN_P = 0.01           # chance, over all moments tried, below which a pattern is named
# --- correction ---
LEAST_TO_FORETELL = 3    # sessions; from two that agree the error left came out up to 42 % larger than foretold
# --- assessment ---
MOST_RATIO = 5.0  # of two mean powers: no device is sold that is so wrong, and a copy takes no factor beyond it
# Share of the riding set aside as faulty beyond which no "holds" is given if the mean error with it is outside. Faults
# that chance scatters over a ride take 1 to 10 %; a device that cannot measure a part of its range loses a quarter.
MOST_LEFT_OUT = 0.2
# Share of the riding that one recording of the two misses, at whatever power, beyond which it is said. Gaps of a few
# seconds are common and small; ten minutes of an hour's ride are not (a choice, not measured).
SMALL_MISSING_SHARE = 0.05
# One recording, s used, below which no "holds" is given, and below which its shortness is said. Errors correlated over
# 60 to 150 s make a wrong one in at most 5.0 % from 10 min on (5 min: 8.9 %, 2 min: 20.1 %), over 300 s in 8.4 % at
# 10 min and at most 4.7 % from 30 min on (benchmarks/short_recordings.py).
LEAST_TO_HOLD_S = 600.0
SHORT_RIDE_S = 1800.0
# One recording, s used, below which "holds" must stand for errors slower than it too: those over 300 s made 8.4 % wrong
# at 10 min and 4.7 at 30, so at most 2.6; from 45 min on they show (benchmarks/short_recordings.py).
SLOW_SHOWS_S = 2700.0
# Share of the seconds of riding in the reference's recording that is used, below which no "holds" is given, and below
# which it is said: what a device did not record may be what it could not (a choice, not measured).
LEAST_RIDE_SHARE = 0.1
SMALL_RIDE_SHARE = 0.5
# An end of the range is lost where faulty or missing seconds outnumber sound ones, half of all lie, and so many.
LOST_HALF = 0.5
LOST_S = 30
LEAST_FOLLOWED, LEAST_VARIED_SHARE = 0.3, 0.1  # least correlation of seconds; SD over mean from which on it is asked
THIN_SHARE = 0.1  # of the work in a third of the range, lost: a claim of 1.5 % is broken by 15 % in it (a choice)
# --- study ---
# Share of the shorter of two recordings that both must have in common to be taken for one effort by their times alone:
# recorders are started within minutes of each other (common practice); rides one after the other share nothing.
STUDY_OVERLAP_SHARE = 0.5
# Units from which SD, share and tolerance are stated where errors look normal: below, t with 3 df or 5 % odd units pass
# the test of shape too often, and what is then stated covers 36 to 82 % (benchmarks/study_units.py).
STUDY_SHAPE_UNITS = 500
STUDY_ASSUMED_UNITS = 20      # the same where normal errors are assumed: share and single units cover 91 % with 5
STUDY_SHAPE_LEVEL = 0.05      # of Shapiro and Wilk's test
STUDY_BY_ORDER_UNITS = 59     # whose extremes hold 95 % of all with 95 % confidence (Wilks 1941)
# --- states of a device (benchmarks/trail.py) ---
TRAIL_MARGIN_OF_CLAIM = 0.5  # share of the claim that counts as no change: two such changes still leave it whole
TRAIL_USUAL_MARGIN = 0.5     # points, for claims that name no per cent: a third of the usual claim of 1.5 %
SPLIT_LEAST_S = 300          # used seconds of a part of a recording: 10 windows of 30 s, enough for 8 cosines
SPLIT_PLACES = 10            # by which the error probability is divided where the place was chosen after looking
# --- several devices (benchmarks/devices.py) ---
ONE_VOICE_W = 0.75         # SD of 1-s differences: rounding makes 0.41, two sensors several watts
CLOSURE_PERCENT = 0.3      # the least correction worth entering: a triangle must close to less
CLOSURE_LAG_S = 1.0        # clocks are matched to a fraction of a second each
# --- hung masses (benchmarks/static.py) ---
STATIC_NO_RESPONSE = 0.0005  # of the scale: half of the smallest slip's, readings in kN m; below, nothing is sensed
STATIC_NEAR = 0.03         # share of a slip's size within which it explains a scale: devices err by less than 5 %
STATIC_NEAR_SMALL = 0.001  # ten of it: the widest interval in which g = 10 m/s2 (2 %) is told from a scale of 2 %
STATIC_MISFIT_P = 0.05     # one-sided: the scatter about the line is larger than repeats and stated masses explain
STATIC_CHANCE = 0.8        # of both answers, from which a set of masses is advised: as plans of sessions have
STATIC_SIDES_OF_CLAIM = 0.5  # share of the claim by which one factor may leave a side off: as much is left for the rest
STATIC_SIDES_USUAL = 0.75  # per cent, for claims that name none: half of the usual claim of 1.5 %
STATIC_SLIP_SD = 4.0       # SDs about the others' line within which a reading lies on it; beyond twice that it is off
