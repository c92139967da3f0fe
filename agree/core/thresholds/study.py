"""Thresholds of studies."""

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
