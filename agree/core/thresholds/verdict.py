"""Thresholds of the verdict, of a correction and of what is said beside them."""

# --- verdict (benchmarks/verdict_sessions.py, benchmarks/verdict_bands.py) ---
HALF_WEIGHT_S = 300.0    # s: a session so long counts half of an endless one; with 13 min 92.7 % are covered
LEAST_FOR_PROBABILITY = 3  # sessions; with 2, "P > 99 %" came true in 88-92 % of tests
ODD_LEVEL = 0.05         # two-sided, shared by all sessions (Bonferroni): false alarms in at most 5 % of tests
TREND_LEVEL = 0.05       # two-sided: a change from session to session is named, and a correction not called stable
MOSTLY_WITHIN = 0.5      # spread between sessions over that of their errors, below which the rest is said to be within
# Of the gap between a session and the others, what an exchange of its files may leave unexplained: with more, the error
# is as near to the others as to their reverse, as errors near 0 are.
EXCHANGE_LEFT = 0.25
SWAPPED_PERCENT = 0.5    # an odd session within this of the others' error turned round: its files look exchanged
LEAST_COMMON_S = 60      # s of the same readings in both recordings of two sessions: no two rides repeat these
# Correlation of second differences at the best lag: one ride with 10 W of noise added 0.84 to 0.93, two days of one
# programme at most 0.8; two devices on one ride 0.5, different days below 0.15 (tests/verdict/test_near_copies.py).
NEAR_COPY, ALIKE_RIDES, LEAST_ALIKE_S = 0.82, 0.4, 300  # the last: s in common; shorter ones are alike by chance
# Of the best sum of products at another lag, beyond which it is a programme that repeats itself; turns between rise and
# fall within 30 readings that are a rider's own, since ramps of a programme hardly turn (choices, not measured).
RIVAL_SHARE, LEAST_TURNS = 0.5, 3
# s between the end of one ride and the start of another session: recorders that pause by themselves, a stop and laps
# saved as files leave minutes; a new zero and other temperatures take longer (common practice, not measured).
LEAST_APART_S = 600.0
LEAST_DAYS = 3           # of fewer days than sessions: from 3 on answers must stand with one mean a day (few-days.md)
LEAST_LEVEL = 0.5        # an interval that misses more often than it holds settles nothing; usual are 0.90 to 0.99
MOST_LOSS = 30.0         # % of power: a chain loses 1-5, a badly kept drivetrain 15 (trade, recalled); beyond, a slip
MOST_OFF = 50.0          # %: a reference that may be off by more is none; a slip of the decimal point
LEAST_BAND_S = 60        # a band with fewer seconds is shown, not judged
BAND_STEP_W = 5.0        # W: edges of bands and stretches are rounded to this
POOL_LEVEL = 0.95        # bands are pooled at this level and above: at 0.90 a wrong "holds" came in 7.8 %

# --- correction ---
LEAST_TO_FORETELL = 2    # sessions: one shows no spread between sessions
# Standard errors, of an SD that is drawn towards USUAL_SD_PERCENT with the weight of so many degrees of freedom, by
# which a correction must differ from none to be entered; and how much more is left than the SD of sessions says whose
# correction was entered (benchmarks/error_left.py).
LEAST_GAIN, USUAL_SD_WEIGHT, LUCK = 1.75, 2.0, 32.0
SHOWN_LEVEL, LEAST_SHOWN = 0.95, 3  # an interval that misses 0 is enough to enter, from so many sessions on
# A correction along the power: stretches, and s used in each; standard errors by which an error must be below half of
# what the correction takes off, to be called worse; shares of the claim that it may not then exceed (the rest is for a
# step inside a stretch) and by which it has grown; share of the riding where it may be worse at all. Set on seeds from
# 1000 on of benchmarks/correction_shapes.py (no straight error was refused), judged on others (docs/measured).
MOST_STRETCHES, LEAST_STRETCH_S = 24, 100
HARM_ERRORS, HARM_CLAIM_SHARE, HARM_GROWTH_SHARE, MOST_HARMED_SHARE = 1.0, 0.8, 0.5, 0.25
LEAST_SETTLED_S = 300  # used s of a session after a warm-up, or before a step, that are judged alone (a choice)

# Half-width of the best reference that is advised, per cent of the power: the trade knows none that is better (common
# practice, not measured); an error nearer to the limit is not settled by a reference.
FINEST_REFERENCE_PERCENT = 0.2

# --- assessment ---
# Both means below: no power of a rider; "may be in kW" is added above the lower one, the least mean of a rider in kW.
LEAST_KW = 0.03
UNIT_NEAR = 0.05      # of the logarithm of a ratio: the unit that makes it is named within 5 %
# Distance of a factor from 1 beyond which a wrong unit is the likeliest cause: nearer, it is one among many.
SETTING_FAR_OFF = 0.25
USUAL_SD_PERCENT = 1.0  # SD between sessions to reckon with where fewer than 3 show their own (assumption)
# An error of one session up to which "perhaps none is needed" is said of a factor: two such SDs. Of an exact device
# whose days differ by 1 to 1.5 % a factor was entered from one session in 28 to 38 %, and did harm in four of five.
ONE_DAY_PERCENT = 2.0
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
# One recording, s used, below which "holds" must stand for errors slower than it too; from 45 min on they show. Of the
# further width the share 1 - seconds/SLOW_ASKED_S is asked, at least SLOW_ASKED_LEAST: errors over 300 s, wrong in up
# to 8.4 % at 10 min and 4.7 at 30 by the interval shown, are in at most 3.1 (benchmarks/short_recordings.py).
SLOW_SHOWS_S = 2700.0
SLOW_ASKED_S, SLOW_ASKED_LEAST = 4000.0, 0.4
# Share of the seconds of riding in the reference's recording that is used, below which no "holds" is given, and below
# which it is said: what a device did not record may be what it could not (a choice, not measured).
LEAST_RIDE_SHARE = 0.1
SMALL_RIDE_SHARE = 0.5
# The same of the seconds that both recordings span: a file that ends early or begins late by a tenth is said too. Two
# recorders are started and stopped minutes apart on most rides (a choice, not measured).
SMALL_SPAN_SHARE = 0.9
# An end of the range is lost where faulty or missing seconds outnumber sound ones, half of all lie, and so many.
LOST_HALF = 0.5
LOST_S = 30
LEAST_FOLLOWED, LEAST_VARIED_SHARE = 0.3, 0.1  # least correlation of seconds; SD over mean from which on it is asked
THIN_SHARE = 0.1  # of the work in a third of the range, lost: a claim of 1.5 % is broken by 15 % in it (a choice)
