"""Thresholds of the lag and of steps of a clock, second by second; those of a whole match stand in `pairing.py`."""

LEAST_STEP_S = 1.0  # a clock that loses less is read between seconds, or creeps
MIN_STEP_S = 2  # whole seconds: a change of lag smaller than this is drift, until its fraction is known
# Of a stretch's seconds of the device that longer stretches use: windows reach over a step by half.
REUSED_SHARE = 0.4
# A lag so far from those of all longer stretches must last so long: for a window or two it is more often chance than a
# long pause with another one soon after.
FAR_LAG_S, FAR_LAG_LEAST_S = 120, 240
# A lag that turns back within so many seconds is no clock: the search second by second passed over stops so, for 1
# to 13 s at a time, and told -142 and +230 s for a stop of 88 s. A stretch at an end that is shorter tells no lag.
LEAST_TURN_S, LEAST_END_S = 30, 15
# Seconds of work between two steps, so that they are two: a stop of 85 s was told as two with a second of work between.
LEAST_BETWEEN_S = 5
# Pieces of half a minute, so many in a row, in which a second of work costs more than POOR agree at another lag, if
# they cost no more than GOOD there and the reference varies by so many standard deviations of what is left: noise alone
# costs 0.5, and unrelated readings 3.7.
LEAST_POOR_PIECES, POOR, GOOD, LIVELY_SD = 2, 1.8, 1.0, 3.0
# Windows of 150 s tell a lag, if they are so much alike and have so many readings: smoothed as they are, 150 s count as
# some 30 readings, whose correlation is 0 with a standard deviation of 0.18 by chance, and 17 lags are looked at.
WINDOW_CORRELATION, LEAST_WINDOW_S = 0.6, 50
WINDOW_FAR_SD, WINDOW_FAR_S = 3.5, 0.05  # a window further from its line than both is left out: outliers, as is usual
# Zeros of a trace that lie so near to a step may be seconds of its stop: so far a stop of a slow trace lay beside its
# place (benchmarks/recorder_gaps.py). So many in a row elsewhere may be a stop that was not found, and are said first.
BESIDE_STEP_S, LEAST_UNTOLD_S = 10, 3
TURNING_RPM = 20.0  # of the trace that reads 0: its rider pedals, and it failed
# Stops that a recorder must have left out, and how much alike the traces must be without them, for it to be tried: what
# is found is judged like any other course. Wrong pairs have 0.1 to 0.3; a ride with 28 stops in 40 min had 0.9.
LEAST_PAUSES, PAUSED_CORRELATION = 3, 0.5
# Search of steps second by second: log likelihoods, of which the likeliest course of the lag is taken. What it finds is
# judged afterwards, and benchmarks/same_ride.py measures the whole. Price of a change of the lag: chance makes one in
# exp(12) = 160,000 places; half of it where the first second passed over is one of no work, as recorders pause there.
STEP_PRICE, STEP_PRICE_AT_STOP = 12.0, 6.0
# So far beside a stop a change costs no more than at it: of five stops of 45 s on a trainer, beside a 5-s mean, steps
# began 2 s late without it, and 5 of 8 rides had all sizes right; with it 7.
STEP_EDGE_S = 4
STEP_WORST = 4.5    # most that one second can cost: 3 standard deviations, more of which are faults
STEP_PASSED = 3.7   # of a second of work that is passed over: about what unrelated readings cost
# Of a second that either lacks, twice what noise alone costs; half of it for one of no work that is passed over.
STEP_UNKNOWN = 1.0
