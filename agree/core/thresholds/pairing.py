"""Thresholds of clocks and of whether two recordings are one ride."""

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
# Log likelihood of windows where they crowd, over that which nine lags of ten are below: 40 wrong pairs of
# real rides had 1.0 to 1.5, 60 true ones with five stops 1.6 to 8. Without it nothing wrong is accepted, but slowly.
CROWDED = 1.5
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
# What two clocks usually differ by (see MOST_DRIFT_PPM); between steps close together the data alone tell no slope.
USUAL_DRIFT_PPM = 100.0
ZONE_STEP_S, ZONE_NEAR_S = 900, 120  # zones differ by whole quarter hours, and clocks by less than 2 min
UNUSUAL_LAG_S = 600  # beyond it, a lag of two clocks of one kind is said
# Minutes that are not matched are noted, where the log likelihood ratio of the part, of unrelated minutes (a fifth
# alike at a lag that was chosen so) to minutes like the rest (at most 95 %), comes to so much: three in a row where all
# others are alike, four at 0.9, and six at 0.8.
UNLIKE_SURPRISE, UNRELATED_ALIKE, MOST_USUAL_ALIKE = 7.5, 0.2, 0.95
UNLIKE_BEYOND_JUMP = 5.0  # all that is between steps of RETURN_S and more: such a jump is mostly into another ride
USUALLY_ALIKE = 0.9  # of the rest, where the power of the minutes of a part alone makes another ride of it
UNLIKE_SHIFT = 0.1  # of the claim's limit: minutes that move the mean error by more are no evidence for it
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
# Up to 4.5 times less in one of them (less is a mean over 20 s and more): it averages if, with both made equally
# smooth, they are alike, or if what is left is noise. True pairs whose rapid changes are not alike: 0.43 and more with
# noise of 4 W, 0.38 with 8 W, and a colour up to 0.22. The 17 wrong ones of 400: up to 0.65, and from 0.30 on. Settled
# on half of the rides; from 4 to 4.5 after one of 380 wrong pairs of the other half, just beyond 4, was accepted: of
# 141 true pairs with means over 20 s and more at most one is refused by it; at 5 a mean over 25 s would be.
LARGEST_RAPID_RATIO = 4.5
LEAST_EVEN_LIKENESS = 0.70
MOST_LEFT_COLOUR = 0.26
# Up to this limit of rapid changes of like size, the colour and less evenness are asked: two efforts on one plan of a
# trainer had 0.19 to 0.25, 0.20 to 0.24 even; true pairs with a fifth of partial readings 0.22 and more, 0.36 even.
SURE_RAPID_LIKENESS, LEAST_SURE_EVEN = 0.35, 0.30
# With fewer minutes than tell a share: the same colour, and less than half of the minutes alike. Ten minutes of two
# rides that were alike in one event had 0 of 1; of 407 true pairs of 130 to 280 s those with a colour had half or more.
LEAST_EVEN_SHARE = 0.5
# The rider's own changes between steps, as a share of what one ride has (`rider.Own`): 1.0 to 2.4 in true pairs of
# any device tried, at most 0.33 in workouts of a trainer on two days. Less than MOST_STRANGE_SHARE by two standard
# errors is of two days, if the own changes of both are certain and 1 % of power, or 0.5 % of cadence: less may be what
# devices add. A correlation above LEAST_SHARED by two standard errors is of one ride; two days reached 0.05. By three,
# with a share above MOST_STRANGE_SHARE by two, it stands against minutes that noise leaves unlike.
MOST_STRANGE_SHARE, LEAST_OWN_SIZE, LEAST_OWN_CADENCE, LEAST_SHARED = 0.6, 0.01, 0.005, 0.1
# Standard errors beyond which a share or a correlation is sure, and a colour, or a minute that noise left unlike (the
# jackknife is of 20 groups: 2 and 3 are 94 and 99.3 % of t with 19 degrees of freedom).
SURE_SE, COLOUR_SE = 2.0, 3.0
# A step: means of 5 s before and after differ by so many standard deviations, in either trace: 0.2 % of the seconds of
# white noise are near one, and 95 % of steps of 20 W beside changes of 8 W are missed. A trainer comes to its target
# within seconds, left out too: with 5, 7 and 9 of them 9, 9 and 11 of 12 pairs of two days (steps of 30 s) had a share
# below 0.6, and each second is one less of 30 (invented, device noise of 4 W).
EDGE_SD, AFTER_S = 3.5, 7
# Of the share, less two standard errors, for which one of the two is averaged, where both change about as much then. In
# 20 true pairs with no mean and a mean over 3 s no average gained anything (-0.05 at most), over 10 s up to 1.3; the
# variances have a ratio of 0.62 to 0.99 there, and of 0.08 to 0.49 beside a 10-s mean of one (noise of 8 W).
SURER, LEAST_EVEN = 0.25, 0.4
# What is left of steps of 30 s beside them gave two days a share of 0.53 to 0.86; one ride has 0.87 and more, but for
# noise of 15 W beside changes of 5 W: less asks cadence, and without it and dates it is said.
LEAST_WHOLE_SHARE = 0.9
# Readings beside a parabola of 15 s, between steps (`same_ride/between_steps.py`): t of their products, the greatest of
# 5 shifts of both as they are, or of 8 means of one of them too. Of 150 pairs of one programme, two riders (steps of 30
# to 300 s, noise of 4 to 20 W, own changes of 3 to 8 W), the greatest were 3.3 and 3.6; 3 of 200 others, with steps of
# 30 s and a trainer that takes 6 s, had 4.0 to 4.1 with means. True ones of a reading a second: 4 to 13.
SURE_T, SURE_MEANS_T = 4.0, 4.5
# Or, of few pieces, which leave t below the root of their number: the mean of the products over that at 32 shifts, and
# their correlation. Two riders of one programme, equal steps on two days, and one course with the changes of another
# ride (440 pairs) had at most 5.0; 39 of real rides, pieces of 10 min, 4 to 19.
SURE_OVER_SHIFTS, LEAST_RAPID_R = 6.5, 0.2
# Beside a parabola of 51 s, 20 s and more after a step: of those 200, one had t of 5 and a correlation of 0.36; means
# over 20 and 30 s of real rides 3.5 to 7.6, and 0.5 to 0.9 but for 2 of 28.
SURE_SLOW_T, LEAST_SLOW_R = 3.5, 0.5
# Strength of a match of readings beside a parabola, between steps, over all lags, and of the next best as a share
# of it. Of 198 pairs of two riders of one programme or one level, without cadence, 48 were looked at in figures: at
# most 6.4 where the next best was below 0.75 of it, none below 0.67; equal steps that leave a trace have a rival of 0.9
# and more; the other 150 were judged, and none was accepted. Of 90 pairs of one ride (noise and own changes of 2 to
# 8 W) 69 had 7 and more, with a next best of 0.6 and less, all at the right lag.
OWN_STRENGTH, MOST_OWN_RIVAL = 7.0, 0.6
# With dates that agree, and less than this share of power left in one of the two beside the parabola (1 W of 200; the
# rounding of readings makes 0.3 W), no rider leaves a trace that another could lack, and dates decide.
LEAST_TRACE = 0.005
# Minutes in a row, and their correlation, slope and size of changes beside those of the rest, that make another ride of
# a part; and how many of the others must be alike. Of 40 real rides joined to another one 14 were told so, 15 refused
# otherwise and 11 had parts too short or too calm to be sure; of 160 true pairs with noise and means none was.
LEAST_OTHER_MINUTES, LEAST_REST_ALIKE, MOST_OTHER_R, MOST_OTHER_SLOPE, LEAST_LIVELY = 6, 0.5, 0.25, 0.5, 0.1
# Or mean power of so many minutes that is off by such a share of usual power, at its own ratio, and so many times more
# than the median of the others is, while it neither rises and falls with the other recording nor stands still; where
# means differ less, or go together, rapid changes alone make no other ride. Settled on 336 draws of the settling half
# (benchmarks/joined_rides.py): joined parts were 0.02 to 1.6 off, devices that are noisy, slow or 0 now and then 0.12.
LEAST_LEVEL_MINUTES, LEAST_LEVELS_OFF, LEVELS_OFF_TIMES, MOST_LEVELS_R, LEAST_VARIED = 5, 0.12, 8.0, 0.75, 0.03
# Seconds of work of both that a minute of these needs, without those of a device that repeats one reading for so long:
# a stuck one is faulty. A part as much alike at another lag within 4 min, beside the rest, is of a step not found.
LEAST_WORK_S, STUCK_S, ELSEWHERE_ALIKE = 20, 5, 0.75
# The correlation of rapid changes there, beside that of the rest: one ride with four minutes of dropouts beside a slow
# device had 0.45 of 0.83, others with halves of power for a fifth of the ride 0.27 of 0.83 and 0.34 of 0.56; in those
# the rest was alike in less than USUALLY_ALIKE, too.
MOST_ASTRAY_R, LEAST_SLIGHTLY_OFF = 0.35, 0.03
# Where steps leave nothing between them, that is said of recordings with so much work in common; shorter ones may have
# too few pieces between steps (20 of 16 s are needed) without being a programme.
LEAST_PROGRAMME_S = 640
# Steps of a minute and more: a recorder that leaves out stops makes them of one sign, and rarely do both leave out
# some that the other counts. Where a file went on into another ride, seven of 178 to 263 s were told, to and fro.
RETURN_S, MOST_RETURNS = 60.0, 1
# A minute tells something with so many seconds of both, and changes of more than such a share of the energy of the
# median minute, and of the mean one: of a file that is mostly stop the median is nothing.
LEAST_MINUTE_S, STILL_MINUTE, STILL_MINUTE_AT_ALL = 30, 0.01, 1e-3
LIKENESS_WINDOWS = 5  # minutes that tell anything; with fewer the limit of a share says little
# Seconds of 0 far from all coasting of the other trace, over those in which both work: with more, zeros tell the clocks
# nothing. Sound devices of 55 real rides have fewer than 0.005; 2 % of dropouts had 1 of 3 true pairs refused.
GROSS_ZEROS = 0.01
# Quartz clocks of recorders stray by some 20 to 100 ppm over the temperatures of a ride (common knowledge of the
# trade); beyond thrice that, seconds are lost. The estimate decides, if it is beyond what is usual by two standard
# errors: its own are 3 to 8 ppm in an hour, and 30 beside stops and a 10-s mean. One that may be beyond is a doubt.
MOST_DRIFT_PPM = 300.0
# Beside steps a drift is drawn to that of two usual clocks: of 1000 ppm 419 were left, and accepted. The data alone are
# asked where they know it so well; with five stops in half an hour and a 15-s mean their error is 700 ppm.
MOST_PLAIN_SE_PPM = 150.0
MOST_DRIFT_S = 4.0  # over a recording, beyond that limit, however uncertain: pauses of 3 to 7 s not told apart
EXCURSION_S = 900  # a lag that comes back within this was not lost by one clock and then as much by the other one
DAY_APART_S = 15 * 3600.0  # zones differ by 14 h, and an hour for daylight saving, at most
EXCHANGED_S = 27 * 86400.0  # day and month exchanged make 28 days at least: beyond, the refusal names it
DELAY_LEAST_S = 1.0  # stamps are whole seconds: less, or a difference of less between power and cadence, tells nothing
CLOCK_ALONE_S = 60.0  # no device holds back power for a minute; heart rate, the slowest channel in use, follows in less
MOST_CLOCK_STEPS = 60  # an hour's ride with a stop every minute; beyond it, a recorder counts rows
# Power later than cadence by what a running mean explains, of at most so many seconds (60, and what the lags err by):
# the sharper trace, averaged so, is at least this share as like the slower one as any mean makes it.
MOST_MEAN_S, LEAST_EXPLAINED = 65, 0.9
# Where power alone is refused, the mean is sought: it makes means over 10 to 60 s alike by 0.93 and more (correlation).
LEAST_SLOW = 0.8
# Share of the seconds of a slow trace between two jumps, from which on the clocks are sought without them.
SLOW_JUMPS = 0.003
# Ratio of how much two traces change within 10 s, beside their slower changes, from which on a refusal says that one
# may average: of 41 pairs of one ride that were made with slow or noisy devices and refused, 34 lie above; two power
# meters of one ride differed by a factor of 1.02.
SMOOTHER_RATIO = 1.25
