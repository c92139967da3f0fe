"""A user's slips, each of which a type checker must see: the comment names mypy's code."""

from agree import bias_by_band, check_claim, deming, limits_of_agreement

x = [100.0, 150.0, 200.0]
limits_of_agreement(x, x, scale="percents")  # arg-type
limits_of_agreement(x, x, sampling="serail")  # arg-type
deming(x, x, weighting="proportionl")  # arg-type
bias_by_band(x, x, edges=[0, 200], nan_policy="skip")  # arg-type
check_claim(3, "1.5 %")  # arg-type
wrong = limits_of_agreement(x, x).biass  # attr-defined
