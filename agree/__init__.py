"""Decide from paired recordings whether a measuring device keeps its maker's accuracy claim."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

# Public name -> module that defines it; loaded on first use (PEP 562), so that `import agree` is cheap.
_PUBLIC = {
    "AgreeError": "errors", "AgreeWarning": "errors", "AssumptionWarning": "errors", "ConvergenceError": "errors",
    "DriftWarning": "errors",
    "InputError": "errors", "MatchError": "errors", "SampleSizeError": "errors",
    "Estimate": "interval",
    "Alignment": "pairs", "Event": "pairs", "Pairs": "pairs",
    "limits_of_agreement": "estimators.limits", "LimitsOfAgreement": "estimators.limits",
    "tolerance_limits": "estimators.tolerance", "ToleranceLimits": "estimators.tolerance",
    "regression_limits": "estimators.trend_limits", "RegressionLimits": "estimators.trend_limits",
    "LimitsAt": "estimators.trend_limits",
    "quantile_limits": "estimators.quantile_limits", "QuantileLimits": "estimators.quantile_limits",
    "repeated_limits": "estimators.repeated_limits", "RepeatedLimits": "estimators.repeated_limits",
    "look_at_errors": "estimators.assumptions", "ErrorLook": "estimators.assumptions",
    "Look": "estimators.assumptions",
    "deming": "estimators.deming", "passing_bablok": "estimators.passing_bablok",
    "Line": "estimators.line",
    "linearity": "estimators.linearity", "Linearity": "estimators.linearity",
    "bias_curve": "estimators.curve", "BiasCurve": "estimators.curve",
    "york": "estimators.york", "YorkLine": "estimators.york",
    "variance_ratio": "estimators.ratio", "VarianceRatio": "estimators.ratio",
    "concordance": "estimators.concordance", "Concordance": "estimators.concordance",
    "intraclass": "estimators.intraclass", "Intraclass": "estimators.intraclass",
    "deviation_index": "estimators.deviation", "DeviationIndex": "estimators.deviation",
    "coverage_probability": "estimators.deviation", "CoverageProbability": "estimators.deviation",
    "typical_error": "estimators.repeatability", "TypicalError": "estimators.repeatability",
    "precision": "estimators.precision", "Precision": "estimators.precision",
    "bias_by_band": "estimators.bands", "Band": "estimators.bands", "BandBias": "estimators.bands",
    "split_errors": "estimators.three_devices", "SplitErrors": "estimators.three_devices",
    "Contrast": "estimators.three_devices",
    "equivalence": "estimators.equivalence", "Equivalence": "estimators.equivalence",
    "response_difference": "estimators.response", "Response": "estimators.response",
    "match_response": "estimators.response",
    "best_efforts": "estimators.efforts", "BestEfforts": "estimators.efforts", "Effort": "estimators.efforts",
    "Claim": "verdict.claim", "check_claim": "verdict.check", "ClaimCheck": "verdict.check",
    "plan": "verdict.planning", "Plan": "verdict.planning",
    "find_correction": "verdict.correction", "Correction": "verdict.correction",
    "look": "recordings.look", "FileLook": "recordings.look",
    "read_recording": "recordings.read", "Recording": "recordings.read",
    "pair_recordings": "recordings.pair",
}

__all__ = ["__version__", *_PUBLIC]

if TYPE_CHECKING:
    from agree.errors import (
        AgreeError,
        AgreeWarning,
        AssumptionWarning,
        ConvergenceError,
        DriftWarning,
        InputError,
        MatchError,
        SampleSizeError,
    )
    from agree.estimators.assumptions import ErrorLook, Look, look_at_errors
    from agree.estimators.bands import Band, BandBias, bias_by_band
    from agree.estimators.concordance import Concordance, concordance
    from agree.estimators.curve import BiasCurve, bias_curve
    from agree.estimators.deming import deming
    from agree.estimators.deviation import CoverageProbability, DeviationIndex, coverage_probability, deviation_index
    from agree.estimators.efforts import BestEfforts, Effort, best_efforts
    from agree.estimators.equivalence import Equivalence, equivalence
    from agree.estimators.intraclass import Intraclass, intraclass
    from agree.estimators.limits import LimitsOfAgreement, limits_of_agreement
    from agree.estimators.line import Line
    from agree.estimators.linearity import Linearity, linearity
    from agree.estimators.passing_bablok import passing_bablok
    from agree.estimators.precision import Precision, precision
    from agree.estimators.quantile_limits import QuantileLimits, quantile_limits
    from agree.estimators.ratio import VarianceRatio, variance_ratio
    from agree.estimators.repeatability import TypicalError, typical_error
    from agree.estimators.repeated_limits import RepeatedLimits, repeated_limits
    from agree.estimators.response import Response, match_response, response_difference
    from agree.estimators.three_devices import Contrast, SplitErrors, split_errors
    from agree.estimators.tolerance import ToleranceLimits, tolerance_limits
    from agree.estimators.trend_limits import LimitsAt, RegressionLimits, regression_limits
    from agree.estimators.york import YorkLine, york
    from agree.interval import Estimate
    from agree.pairs import Alignment, Event, Pairs
    from agree.recordings.look import FileLook, look
    from agree.recordings.pair import pair_recordings
    from agree.recordings.read import Recording, read_recording
    from agree.verdict.check import ClaimCheck, check_claim
    from agree.verdict.claim import Claim
    from agree.verdict.correction import Correction, find_correction
    from agree.verdict.planning import Plan, plan


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'agree' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"agree.{_PUBLIC[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
