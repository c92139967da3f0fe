"""Thresholds that decide an answer or name a finding, room by room, each with its reason or benchmark."""

# --- slow faults (benchmarks/slow_faults.py) ---
STEP_T = 5.0             # standard errors of a step at the end of a coasting: 0 false ones in 156 h of wandering errors
STEP_T_ELSEWHERE = 6.5   # of a step at any other place: some 120 places an hour are tried instead of a handful
STEP_LEAST_W = 1.0       # W: the resolution of readings
WARM_T = 5.0             # standard errors of a warm-up: 32 courses are tried
WARM_SHARE = 0.01        # of mean power: less is below what a claim of 1 % turns on
