"""Thresholds of how files and recordings are read, and of what a look at one distrusts."""

# --- files and recordings ---
# Median of the readings that are not 0, in the quantity's unit; outside, the unit or the column is questioned, nothing
# is refused. A rider's median lies at 50-400 W, a sprint's at up to 1,500 W (trade); 0.2 is kW, 3 is W/kg, 2,000 is
# tenths of a watt. The other ranges are what a healthy adult at work shows (common practice).
TYPICAL_MEDIAN = {
    "power": (15.0, 1_500.0), "heart rate": (40.0, 220.0), "speed": (0.5, 25.0), "pace": (0.5, 25.0),
    "cadence": (20.0, 150.0), "torque": (2.0, 150.0), "balance": (25.0, 75.0), "core temperature": (35.0, 41.0),
    "oxygen uptake": (0.2, 7.0)}
# Seconds since 1989-12-31 (the epoch of FIT) of 2013 to 2029, taken as seconds since 1970, are dates of 1993 to 2009,
# from when there are hardly any recordings. Counts of ms and less that would be older count 100 ns from another year.
FIT_SECONDS = (725_000_000.0, 1_262_000_000.0)
# Stamps of minutes, hours to 3 decimals or 1.71e9 do not tell where between them a row was: refused where so many rows
# share one on average and in the median, and stamps are so far apart; of two, one may have stood still. Several
# a second under whole seconds are usual.
ROWS_PER_STAMP, SHARED_STAMP_S, FEWEST_STAMPS = 2.0, 2.0, 3
# So many rows share even two stamps because these are cut, as 1.71717E+09 is, not because a clock stood still.
SHARING_ROWS = 10
# Seconds since 1970 from 2055 on: those since 1900 or 1904 of a recording from 1990 on are such numbers.
LATEST_UNIX_S = 2_700_000_000.0
# Distinct endings of HHMMSS read as a plain number, none of them 60 to 99, before it is taken for a time of day: by
# chance 0.6 ** 10, 0.6 %, were they spread evenly; seconds in a row cannot pass 59 without showing 60.
HHMMSS_ENDINGS = 10
# Plain numbers of a column of time without a unit. A median or mean step within SECOND_APART of 1/60 (1/3,600,
# 1/86,400) is that of a reading a second counted in minutes (hours, days), rounded; 50 and 64 readings a second are
# 17 and 7 % away, 60 a second must say s. Within PLAIN_STEP_S, and no whole minutes, it may be ms: 0.1 to 10 s, where
# recorders write up to 60 s (common practice).
SECOND_APART, PLAIN_STEP_S = 0.02, (100.0, 10_000.0)
MIN_POWER_W, MAX_POWER_W = -2_000.0, 20_000.0  # beyond, no power: refused
# A power that may be read stands for no reading if it is so many times all; and one that is no known marker if it
# is the only one below 0, that far and that often. 999 or -99 W for no reading else have a true pair refused, or leave
# 2 points in the mean.
MARKER_ABOVE, MARKER_READINGS, MARKER_BELOW_W = 2.0, 3, -20.0
MAX_SPAN_S, MIN_MEAN_STEP_S = 7 * 86_400.0, 1e-3  # longest recording; least mean step of a column of seconds
# What `look` distrusts in one recording: common practice, which proves no fault. A gap is a step longer than both.
LOOK_GAP_STEPS, LOOK_GAP_S = 2.5, 2.0
LOOK_HIGH_W, LOOK_HIGH_RPM, LOOK_WORKING_W, LOOK_TURNING_RPM = 2_500.0, 200.0, 20.0, 30.0
LOOK_HELD, LOOK_CEILING, LOOK_CONFLICT = 10, 3, 3  # readings in a row
LOOK_SPIKE_READINGS, LOOK_SPIKE_FACTOR, LOOK_SPIKE_W = 9, 3.0, 300.0
