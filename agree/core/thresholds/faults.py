"""Thresholds of slow faults, of the response and of faults of single readings."""

# --- slow faults (benchmarks/slow_faults.py) ---
STEP_T = 5.0             # standard errors of a step at the end of a coasting: 1 false one in 70 h, where errors wander
STEP_T_ELSEWHERE = 6.0   # of a step at any other place: some 120 places an hour are tried instead of a handful
LEAN_STEPS, LEAN_T = 2, 3.0  # steps, beside which no drift and no slow wave has so many standard errors
# Chi-squared (99 %) by which a step must fit better than any one drift or warm-up: of 197 steps put in 181 did, of 28
# that drifts, warm-ups and wandering errors made 6 (benchmarks/slow_courses.py).
STEP_APART_GAIN = 6.63
STEP_LEAST_W = 1.0       # W: the resolution of readings
# Least share of a step that power and cadence leave: one false step of -12 % had 0.01, true ones 0.19 and more.
STEP_FREE_SHARE = 0.1
SLOW_LEAST_S = 600       # s of pedalling below which nothing slow is looked for
STEP_LASTING_S = 120     # s of pedalling on either side of a step
# Slow cosines down to this period, s, stand for any other change while a step is looked for: so many as an hour has
# leave a step of it its place (slow_faults.py).
STEP_WAVE_S = 3600
STEP_PLACE_GAIN, WARM_COURSE_GAIN = 3.84, 7.81  # chi-squared by which another place, or course, may fit worse
WARM_T = 5.0             # standard errors of a warm-up: 32 courses are tried
WARM_APART_GAIN = 2.71    # chi-squared (90 %) by which it must fit better than a drift that slows, or than one step
WARM_SHARE = 0.01        # of mean power: less is below what a claim of 1 % turns on

# --- Response (agree/estimators/response) ---
# Mean square left over that of chance: 0.8 to 1.7 for filters of a known kind, up to 1.92 between two real recorders of
# one ride, 2.0 and more for a filter above some power only, by benchmarks/response.py.
RESPONSE_MISFIT = 1.95
# SD of the log of power about that of neighbouring frequencies, above which power is in lines: 0.25 to 0.54 on 11
# rides, real and invented, 1.08 to 1.47 on intervals that repeat for an hour.
LINES_SD = 0.8
# Share of what a delay by a part of a second may smooth, to which it is known how much it does.
WITHIN = 0.15
# Part of a second from which on sprints are allowed for: devices slow at low or high power alone have 0.03 to 0.14 on
# seven rides, and delays need the allowance from 0.21 on (docs/measured/response.md).
BURSTS_PART = 0.17
# Two stages of smoothing in a row, against one whose readings may lie between seconds: twice the log of a likelihood
# ratio, times the mean square left; and the least size of each stage, s (benchmarks/response.py).
STAGE_EVIDENCE = 30.0
STAGE_LEAST = {"two lags": (0.5, 0.4), "mean and lag": (2.2, 0.5)}
# Twice the log of a likelihood ratio by which readings between whole seconds may fit worse than on them, for their
# size to be within the interval: chi-squared at 95 %.
BETWEEN_FITS = 3.84
# The same by which a filter with readings between whole seconds must fit better than on them to be taken in its place.
BETWEEN_EVIDENCE = 20.0
# A lag that is slower one way: s by which errors go with the size of changes, and t of that, below which two constants
# are not tried (linear filters of ten kinds: 0.03 and 7 at most; constants of 2 and 3 s: 0.28 and 26 at least); the
# mean square that they may leave of that of one; and the ratio of one to the other, below which they are one.
UNEVEN_SCREEN, UNEVEN_SCREEN_T, UNEVEN_LEFT, UNEVEN_RATIO = 0.08, 10.0, 0.9, 1.25
# A device that holds its last reading at a stop: share of that reading by which the first 3 s of half the stops exceed
# a filter, below which it is not tried; stops that are needed; what holding may leave of the error, and in which share
# of the stops.
HOLD_SCREEN, HOLD_STOPS, HOLD_LEFT, HOLD_STOPS_SHARE = 0.15, 4, 0.5, 0.6
# Changes of the two from second to second go together if their largest correlation at 91 lags is above this over the
# root of their number: white changes alone make one so large in 350 pairs. Where they do not, changes over so many
# seconds are looked at, which the noise of a mean over a minute does not hide; each span of them counts as one.
TOGETHER, TOGETHER_OVER_S = 4.0, 15
PURE_LAG_S = 0.1  # s; a lag, or mean, so near to whole seconds is whole: it moves an error less than rounding does
PURE_LAG_SE = 3.0  # standard errors within which a delay is whole: a part mixes neighbours, and so takes noise away

# --- Faults of single readings (agree/faults), set by benchmarks/response_faults.py ---
# Share of the times between changes that are multiples of n seconds, for a trace to be a reading every n seconds (at
# most half of those that chance makes are even), and how many of them there must be.
REPEAT_SHARE, REPEAT_LEAST, REPEAT_LONGEST_S = 0.8, 30, 10
# Mean error that readings compared where they come may leave of that of the linear filter, to be taken in its place: of
# 75 recordings of odd devices, 0.10 to 0.95 where this trace was the smoother one, and 1.05 to 20 where it was not.
REPEAT_LEFT = 1.0
WORKING_W = 15.0           # a trace above this is working, not coasting
# Of a filter whose reach is so many seconds or more, all claims on the sharper trace are weighed together; what shows
# more than twice the energy of a claim, by 4 standard errors, is something else; where such faults are many, half of it
# is as likely true as not, if it is 3 standard errors (with 2, one of 90 stops of a real ride became a dropout).
SLOW_REACH_S, CLAIM_MOST, CLAIM_EVEN = 12, 2.0, (0.5, 3.0)
USUAL_RATIO = (0.7, 1.4)   # ratios further than this from their median do not move it
# A claim of lacking energy C holds if the budget B around it is at least 0.6 C and 4 of its own standard errors: what a
# slow response moves to neighbouring seconds comes back within the window, what a fault lost does not.
CLAIM_SHARE, CLAIM_ERRORS = 0.6, 4.0
# Share of a slow filter's weights that must lie within the recording, for what it foretells there to be compared (a
# choice, not measured).
KNOWN_WEIGHT = 0.95
CLAIM_MARGIN_S = 3         # s on either side of a claim over which its energy is balanced
BUDGET_LOW = 0.75          # of the usual energy: a budget with less errs no less, since some of the noise is in W
# Share of a claim on a trace beside one with a reading every n seconds that falls into these, below which it is unseen.
CLAIM_UNSEEN = 0.25
CLAIM_UNKNOWN = 0.2        # share of the window that may be unknown
CLAIM_AT_STOP_S = 0.5      # s of usual power that a claim beside coasting must be worth: stops differ by rounding
CLAIM_LEAST_S = 0.25       # the same of any other dropout: a single 0 at 20 W is what noise or rounding made
# Of its median within a minute, to which the other trace dips beside a stop or a short rest: dropouts there are weighed
# again, with errors that tell rare and large ones.
DIP_SHARE = 0.7
# More stops show a claim than two, a quarter of them, and what zeros strewn over the ride bring there by chance, by so
# many standard deviations of a Poisson distribution, skewed as it is (Cornish & Fisher: a sixth of their square less 1
# more; from memory): then it is how the two traces stop.
STOPS_LEAST, STOPS_SHARE, STOPS_CHANCE_SD = 2, 0.25, 3.0
# Zeros that the other trace shows as a stop are none of a dropout: if it fits a stop, with the last reading held for so
# many seconds beside zeros of the reference (which is trusted: none beside those of a device), within this share of the
# power around (rms), and leaves this share of the mean square that work all through leaves.
STOP_MISFIT, STOP_SURE = 0.2, 0.25
STOP_HELD_S = 5
# s for which a device may go on at a stop that both show, as clocks differ; and of how many of the nearest stops, at
# least and at most, that must be known of most, for a device that goes on for longer at another one to have worked on
# there: of a reference lost in the last 6 s of a sprint beside ten others, 0.5 points (sprint rides).
STOP_TOGETHER_S, STOPS_TOLD = 1, (4, 8)
STOP_AGAIN = 3  # times that the last reading comes again, watt for watt, as it is held: chance seldom makes as many
# s of a stop that are looked at: what is claimed at the end of a longer one is judged by its budget alone, since the
# begin tells nothing of it.
STOP_LONGEST_S = 60
# Where no filter was found: a trace that changes less from second to second by such a factor, and that dips to this
# share of its readings on either side.
STOP_SMOOTHER, STOP_DIP = 3.0, 0.95
STOP_AFTER_S = 5  # s after a stop in which a smoother trace may still fall; later, noise would
# Runs of one value that misfit as much as 5 % of all windows or less, and that chance would bring with such a misfit in
# fewer than 0.001 of such recordings, are held (Fisher: a product of two chances is below 0.0015 in a hundredth); so
# are those that misfit more than half of all windows and that chance would bring in fewer than 0.0001.
HELD_EXPECTED, HELD_LIKE = 0.001, 0.05
HELD_COMMON, HELD_RARE, HELD_LEAST_S = 0.5, 1e-4, 4
# Windows whose misfits tell how the rarer ones go on, and the most that the power of it may be (normal errors: 5 to 8).
HELD_TAIL, HELD_POWER = 100, 4.0
HELD_ODD = 0.01  # share of windows that misfit as much as a run which says nothing of how often chance repeats a value
HELD_LATE = 0.05  # of the readings of a trace that repeats them: if no more come late, these tell nothing of the rest
# Runs of one value after which it may stand for no reading: if it is the highest or lowest, while the other trace is
# short of it in such a share of its seconds (at a ceiling it is in few); if not, while such a share of them is held.
# 999 and 255 W for no reading, five times in 20 min, else leave 2.0 and 0.2 points of the mean.
MARKER_RUNS, MARKER_BEYOND, MARKER_HELD = 2, 0.9, 0.8
# A partial reading shorter than this must begin and end with jumps that the other trace does not show, or its budget be
# so many standard errors.
PARTIAL_SHORT_S, PARTIAL_ERRORS = 10, 10.0
# By how many standard deviations more of its seconds lack something than would by chance: at least 4.4 in 37 ceilings;
# 0 where the other trace has one spike of 3 s beside the reference's nine highest seconds. Five of five make 2.2.
CEILING_SIGNS = 2.0
# Above 1.04 times the top, and two standard deviations, 70 % of at least 5 seconds sit at the top: it is a ceiling.
CEILING_OVER, CEILING_SD, CEILING_SECONDS, CEILING_AT = 1.04, 2.0, 5, 0.7
# Or so many seconds at the top and foretold above it, if the top is below what is foretold for them by so many standard
# deviations of errors, and that moves by so many.
CEILING_STUCK_S, CEILING_STUCK_SD = 20, (0.75, 1.25)
# The ceiling of a sensor before the device's own filter: the highest readings are lower than foretold by this share; of
# seconds that lack more than this share the other trace, cut there, leaves at most this share of the squares (0.002 to
# 0.02 in six pairs, 0.17 to 0.24 where a delay errs in every sprint), and the slope above it is no more than this
# (ceilings: -0.07 to 0.12; bends with a slope of 0.3, by a filter 15 % off: 0.17 to 0.33).
CEILING_FILTERED_LOW, CEILING_FILTERED_SHARE, CEILING_FILTERED_LEFT, CEILING_FILTERED_SLOPE = 0.03, 0.01, 0.3, 0.15
# Times what the best slope leaves that no slope at all may leave (24 rides each, a filter up to 15 % off: with slopes
# of 0 and 0.1 all are ceilings then, with 0.2 and more none; a delay up to 0.3 s off: 23, 17, 8, 5, 1 and 0 with slopes
# of 0, 0.1, 0.2, 0.3, 0.4 and 0.6).
CEILING_FILTERED_ALIKE = 1.3
# A ceiling that noise or a slower trace hides: seconds at the top, standard errors by which they lack energy, how much
# of a change of power they show, and standard deviations of errors by which power moves there. 45 pairs with a ceiling,
# a second condition in most: 30 s and more, 20, at most 0.11, at least 2.7; of 167 without one, those with 10 standard
# errors have slopes of 0.3 and more (one file joined of two rides apart). 2 for power that a trainer holds: 1 is noise.
CEILING_PILE_S, CEILING_PILE_ERRORS, CEILING_PILE_SLOPE, CEILING_PILE_MOVES = 10, 10.0, 0.15, 2.0
# Beside a slow trace: times as many seconds at the top as at each watt below it (cut beside lags of 32 to 83 s: 11 to
# 48; uncut: 1 second in all of five), and their mean run, s, beyond which power may be held there.
CEILING_OFTEN, CEILING_OFTEN_RUN_S = 5.0, 10.0
# Beside a ceiling a change from second to second by this share of it is a jump that it cuts, for so many s at most.
CEILING_STEEP, CEILING_JUMP_S = 0.1, 6
# s before and after a ceiling that tell nothing of a filter: sprints that are cut made delays of 0.3 to 0.45 s out of
# 0.5 s, a lag of 0.9 s out of a mean over 4 s, and lags of 2.0 to 2.4 s out of 3 s; without so many seconds all were
# right. A lag, or mean, above the last shows them for longer.
CEILING_UNTOLD_S, CEILING_SLOW_S = (2, 12), 7.5
CEILING_BESIDE_S = 2  # s: a reading may come so much earlier or later than what foretells it, before it is no top
# W, or share of the top, below it that count as at it, and W if most are; readings so many times usual make no top;
# foretold to be so near to it is noise; a trace at its top for such a share of its working seconds is steady, not cut.
CEILING_NEAR, CEILING_SHARP_W, CEILING_BEYOND, CEILING_BELOW, CEILING_MOST_SHARE = (1.0, 0.002), 0.5, 2.0, 0.96, 0.5
SPIKE_FACTOR, SPIKE_W, SPIKE_S = 2.0, 100.0, 3   # over twice what is usual and 100 W, for at most 3 s
# Or 1.5 times, where the other trace is below this share of its own top and so at no ceiling: by 2 times 600 W on a
# sprint of 450 W passed unseen (up to 0.7 points in 20 min).
SPIKE_CLAIM, SPIKE_BELOW_TOP = 1.5, 0.9
SPIKE_NEAR_S, SPIKE_OWN_S = 2, 9   # s beside it of the other trace, and s around it of its own whose median is usual
# Share of its height by which one that the other trace would not show, between two of its readings, rises and falls
# within a second: a burst of 600 W on a real ride rose by half.
SPIKE_STEEP = 0.6
SPIKE_RISE_W = 50.0  # half of the least height: at its first second a spike rises from the one before
PARTIAL_SHARES = ((0.5, 0.06), (0.25, 0.04))  # what a lost half or quarter leaves of the usual, and how nearly
PARTIAL_S, PARTIAL_LEAST_W = 3, 40.0  # of less power a half is not told from a few watts of offset
PARTIAL_MOST_SHARE = 0.5  # of the working seconds: beyond that it is a matter of scale
# The other trace's jumps at the edges, as a share of the trace's own, up to which the side is sure, and likely.
PARTIAL_SURE_JUMP, PARTIAL_LIKELY_JUMP = 0.5, 0.6
PARTIAL_BESIDE_S = 5   # s before a coasting, in which short ones are how a filter dies away unless their side is sure
PARTIAL_COASTS = 0.5  # of its seconds in which the other trace coasts: what is left there is how a filter dies away
EARLY_END_S = 5      # working seconds of the other trace: a device may hold its last reading for 3 s
LATE_S = 3           # the same at a late start; after a rest so long, and silent for so long before its end
LATE_REST_S, LATE_SILENT_S = 60, 10
FROZEN_S, FROZEN_CHANGE = 5, 0.2  # s of one value while the other trace ranges over more than this of its largest

# --- Faults of a sharp trace beside a slow one (agree/faults/behind_slow), set by benchmarks/slow_devices.py ---
# Longest run, s, that may be partial: what lasts for more than half of the 15 min over which a device may drift would
# count as drift (a limit of 65 s left halves of 70 s in, and the mean 4 points off); what its mean may be as a share of
# the readings on either side, for a half and a quarter: wide, since the energy decides; s of a run that a straight line
# between its sides may stand for.
MAYBE_PARTIAL_S, MAYBE_PARTIAL_SHARES, MAYBE_FILL_S = 300, ((0.5, 0.33, 0.72), (0.25, 0.15, 0.33)), 30
# Longest run, s, between two jumps of a slow trace that is its own fault: over minutes two faults, with all between
# them, look like one (with 5 min a device with a fifth of its seconds partial was 1.6 points off, with this 0.8).
SLOW_JUMP_S = 65
# Faults lower the sharp trace and raise most ratios to it: this quantile of them is the ratio without, and may err by
# this share of what is shown, before a partial run that shows less than half of its energy so is not weighed at all.
MAYBE_REFUTED = (0.3, 0.05)
# Ratios of neighbouring readings between which a run of 3 readings and more may be partial; each reading of a shorter
# one, at most, as a share of its sides; by which the first and the last readings of a run may miss the shares, beside
# all of it; SD of the size of a partial run about its share (choices: a rider's power changes by so much beside a fault
# too, and the energy decides).
MAYBE_JUMPS, MAYBE_LOW, MAYBE_WIDER, MAYBE_SPREAD = (0.75, 1.3), 0.8, 1.3, 0.1
# Faults of a kind, as many as are likely, that tell how common it is: below, each must be sure by itself.
MAYBE_COMMON = 4
# Share of a slow filter's weight that must fall on known seconds for its reading to tell of faults, or of the filter:
# what is missing shows for minutes.
SLOW_HISTORY = 0.99
# A zero so many s from all coasting of the other trace is no stop, whatever lag or response are left; one of a trace
# that changes so many times more from reading to reading is, if the other one dips there.
GROSS_APART_S, GROSS_SHARPER = 8, 1.3
MAYBE_LEAST = 0.5    # share of what it should add below which a run is no fault
# Twice the log of the odds against a fault, before it is known how many there are: 4 standard errors, as of any claim.
MAYBE_ODDS = 16.0
# The same at least, where next to all runs that may be faulty are: with even odds 9 to 15 of 75 halves beside a lag of
# 45 s were left in and the mean was 0.4 % too high, with these none and 0.01 (four draws).
MAYBE_ODDS_LEAST = -6.0
# Choices of faults that leave so little more (twice the log of a likelihood ratio) are as likely: the true one of a
# ride in town left 9 and 17 more than others, those of three rides beside lags of 45 and 60 s 24 to 28. Where their
# ratios differ by more than this share, the traces do not tell which seconds are faulty.
MAYBE_DOUBT, RATIOS_ALIKE = 30.0, 0.002
# So much more for each run that the slow trace does not tell by itself: what many of these leave is known the less (a
# ride with 142 halves among 1256 such runs, beside a lag of 45 s: the true ones left 99 more than others).
MAYBE_WEAK = 0.08
# Share of a slow filter's weight that may fall on faulty or missing seconds for its reading to be known, and the
# longest run, s, that a straight line may stand for where nothing else tells what it should have read.
BRIDGED_SHARE, BRIDGED_S = 0.2, 15
# Without a filter, one trace may be slow that changes so many times less within 10 s than the other, or, where both
# are steady, so many times less from second to second.
SLOW_CHANGES = (1.8, 3.0)
# s over which such changes are looked at: noise lasts for less, a mean over 20 s moves by half of a step (a choice).
SLOW_APART_S = 10
# s before and after zeros within which the other trace falls if they are coasting: the delay that a fit without them
# leaves is shorter (choice; lags of 5 to 8 s after sprints fall by a third in 3 s).
COAST_BESIDE_S = 8
