"""Thresholds of states of a device, of several devices and of hung masses."""

# --- states of a device (benchmarks/trail.py) ---
TRAIL_MARGIN_OF_CLAIM = 0.5  # share of the claim that counts as no change: two such changes still leave it whole
TRAIL_USUAL_MARGIN = 0.5     # points, for claims that name no per cent: a third of the usual claim of 1.5 %
SPLIT_LEAST_S = 300          # used seconds of a part of a recording: 10 windows of 30 s, enough for 8 cosines
SPLIT_PLACES = 10            # by which the error probability is divided where the place was chosen after looking

# --- several devices (benchmarks/devices.py) ---
ONE_VOICE_W = 0.75         # SD of 1-s differences: rounding makes 0.41, two sensors several watts
DEVICES_APART = 5.0        # times the largest difference among the others by which one device stands apart (a choice)
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
