"""Decide from paired recordings whether a measuring device keeps its maker's accuracy claim."""

from __future__ import annotations

import importlib
from threading import RLock
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

__all__ = [
    "AgreeError",
    "AgreeWarning",
    "Alignment",
    "AssumptionWarning",
    "Band",
    "BandBias",
    "BestEfforts",
    "BiasAndPrecision",
    "BiasCurve",
    "Channel",
    "Claim",
    "ClaimCheck",
    "Concordance",
    "Contrast",
    "ConvergenceError",
    "Correction",
    "CoverageProbability",
    "DeviationIndex",
    "DriftWarning",
    "Effort",
    "Equivalence",
    "ErrorLook",
    "Estimate",
    "Event",
    "FileLook",
    "FoldedDistribution",
    "Gap",
    "InputError",
    "Intraclass",
    "LimitsAt",
    "LimitsOfAgreement",
    "LimitsSampleSize",
    "Line",
    "Linearity",
    "Look",
    "MatchError",
    "Note",
    "Oddity",
    "Pairs",
    "Plan",
    "Precision",
    "QuantileLimits",
    "Quantity",
    "QuantityCheck",
    "Recording",
    "RegressionLimits",
    "RepeatedCorrelation",
    "RepeatedLimits",
    "Response",
    "SampleSizeError",
    "SourceIdentity",
    "SplitErrors",
    "ToleranceLimits",
    "TrialMeaning",
    "TrialPlan",
    "Trials",
    "TrialsCheck",
    "TypicalError",
    "VarianceRatio",
    "YorkLine",
    "__version__",
    "best_efforts",
    "bias_and_precision",
    "bias_by_band",
    "bias_curve",
    "check_claim",
    "check_quantity",
    "check_trials",
    "concordance",
    "coverage_probability",
    "deming",
    "deviation_index",
    "draw_figure",
    "equivalence",
    "find_correction",
    "folded_distribution",
    "intraclass",
    "limits_of_agreement",
    "limits_sample_size",
    "linearity",
    "look",
    "look_at_errors",
    "match_response",
    "overlay_recordings",
    "pair_recordings",
    "pair_trials",
    "passing_bablok",
    "plan",
    "plan_trials",
    "precision",
    "quantile_limits",
    "read_recording",
    "regression_limits",
    "render_page",
    "repeated_correlation",
    "repeated_limits",
    "response_difference",
    "split_errors",
    "tolerance_limits",
    "typical_error",
    "variance_ratio",
    "write_figure",
    "write_page",
    "york",
]

# Module -> public names that it defines; loaded on first use (PEP 562), so that `import agree` is cheap.
_PUBLIC = {
    "assessment.claim_check": ("ClaimCheck", "check_claim"),
    "assessment.find_correction": ("find_correction",),
    "core.errors": ("AgreeError", "AgreeWarning", "AssumptionWarning", "ConvergenceError", "DriftWarning",
        "InputError", "MatchError", "SampleSizeError"),
    "core.interval.estimate": ("Estimate",),
    "core.results.note": ("Note",),
    "core.data.pairs": ("Alignment", "Event", "Pairs"),
    "core.quantity": ("Quantity",),
    "core.data.source_identity": ("SourceIdentity",),
    "correction.find": ("Correction",),
    "estimators.bands.by_band": ("Band", "BandBias", "bias_by_band"),
    "estimators.bands.curve": ("BiasCurve", "bias_curve"),
    "estimators.devices.split_errors": ("Contrast", "SplitErrors", "split_errors"),
    "estimators.indices.bias_and_precision": ("BiasAndPrecision", "bias_and_precision"),
    "estimators.indices.concordance": ("Concordance", "concordance"),
    "estimators.indices.deviation": ("CoverageProbability", "DeviationIndex", "coverage_probability",
        "deviation_index"),
    "estimators.indices.equivalence": ("Equivalence", "equivalence"),
    "estimators.indices.intraclass": ("Intraclass", "intraclass"),
    "estimators.indices.precision": ("Precision", "precision"),
    "estimators.indices.repeated_correlation": ("RepeatedCorrelation", "repeated_correlation"),
    "estimators.indices.typical_error": ("TypicalError", "typical_error"),
    "estimators.limits.agreement": ("LimitsOfAgreement", "limits_of_agreement"),
    "estimators.limits.assumptions": ("ErrorLook", "Look", "look_at_errors"),
    "estimators.limits.folded": ("FoldedDistribution", "folded_distribution"),
    "estimators.limits.quantile": ("QuantileLimits", "quantile_limits"),
    "estimators.limits.repeated": ("RepeatedLimits", "repeated_limits"),
    "estimators.limits.sample_size": ("LimitsSampleSize", "limits_sample_size"),
    "estimators.limits.tolerance": ("ToleranceLimits", "tolerance_limits"),
    "estimators.limits.trend": ("LimitsAt", "RegressionLimits", "regression_limits"),
    "estimators.lines.deming": ("deming",),
    "estimators.lines.line": ("Line",),
    "estimators.lines.linearity": ("Linearity", "linearity"),
    "estimators.lines.passing_bablok": ("passing_bablok",),
    "estimators.lines.variance_ratio": ("VarianceRatio", "variance_ratio"),
    "estimators.lines.york": ("YorkLine", "york"),
    "estimators.response.difference": ("Response", "response_difference"),
    "estimators.response.match_pairs": ("match_response",),
    "estimators.response.bests.effort": ("BestEfforts", "Effort"),
    "estimators.response.efforts": ("best_efforts",),
    "pairing.pair": ("pair_recordings",),
    "planning.plan": ("Plan", "plan"),
    "recordings.inspect": ("Channel", "FileLook", "Gap", "Oddity", "look"),
    "quantities.check": ("QuantityCheck", "check_quantity"),
    "quantities.read": ("overlay_recordings",),
    "trials.check": ("TrialsCheck", "check_trials"),
    "trials.meanings": ("TrialMeaning",),
    "trials.pair": ("pair_trials",),
    "trials.planning": ("TrialPlan", "plan_trials"),
    "trials.trials": ("Trials",),
    "recordings.read": ("read_recording",),
    "recordings.recording": ("Recording",),
    "report.page.panel": ("draw_figure", "write_figure"),
    "report.pages": ("render_page", "write_page"),
    "verdict.claim": ("Claim",),
}
_HOME = {name: module for module, names in _PUBLIC.items() for name in names}
_ROOMS = ("study",)  # with functions of their own: agree.study.run
_LOCK = RLock()  # threads that use a name first at the same time must not see a half-made module

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck, check_claim
    from agree.assessment.find_correction import find_correction
    from agree.core.data.pairs import Alignment, Event, Pairs
    from agree.core.data.source_identity import SourceIdentity
    from agree.core.errors import (
        AgreeError,
        AgreeWarning,
        AssumptionWarning,
        ConvergenceError,
        DriftWarning,
        InputError,
        MatchError,
        SampleSizeError,
    )
    from agree.core.interval.estimate import Estimate
    from agree.core.quantity import Quantity
    from agree.core.results.note import Note
    from agree.correction.find import Correction
    from agree.estimators.bands.by_band import Band, BandBias, bias_by_band
    from agree.estimators.bands.curve import BiasCurve, bias_curve
    from agree.estimators.devices.split_errors import Contrast, SplitErrors, split_errors
    from agree.estimators.indices.bias_and_precision import BiasAndPrecision, bias_and_precision
    from agree.estimators.indices.concordance import Concordance, concordance
    from agree.estimators.indices.deviation import (
        CoverageProbability,
        DeviationIndex,
        coverage_probability,
        deviation_index,
    )
    from agree.estimators.indices.equivalence import Equivalence, equivalence
    from agree.estimators.indices.intraclass import Intraclass, intraclass
    from agree.estimators.indices.precision import Precision, precision
    from agree.estimators.indices.repeated_correlation import RepeatedCorrelation, repeated_correlation
    from agree.estimators.indices.typical_error import TypicalError, typical_error
    from agree.estimators.limits.agreement import LimitsOfAgreement, limits_of_agreement
    from agree.estimators.limits.assumptions import ErrorLook, Look, look_at_errors
    from agree.estimators.limits.folded import FoldedDistribution, folded_distribution
    from agree.estimators.limits.quantile import QuantileLimits, quantile_limits
    from agree.estimators.limits.repeated import RepeatedLimits, repeated_limits
    from agree.estimators.limits.sample_size import LimitsSampleSize, limits_sample_size
    from agree.estimators.limits.tolerance import ToleranceLimits, tolerance_limits
    from agree.estimators.limits.trend import LimitsAt, RegressionLimits, regression_limits
    from agree.estimators.lines.deming import deming
    from agree.estimators.lines.line import Line
    from agree.estimators.lines.linearity import Linearity, linearity
    from agree.estimators.lines.passing_bablok import passing_bablok
    from agree.estimators.lines.variance_ratio import VarianceRatio, variance_ratio
    from agree.estimators.lines.york import YorkLine, york
    from agree.estimators.response.bests.effort import BestEfforts, Effort
    from agree.estimators.response.difference import Response, response_difference
    from agree.estimators.response.efforts import best_efforts
    from agree.estimators.response.match_pairs import match_response
    from agree.pairing.pair import pair_recordings
    from agree.planning.plan import Plan, plan
    from agree.quantities.check import QuantityCheck, check_quantity
    from agree.quantities.read import overlay_recordings
    from agree.recordings.inspect import Channel, FileLook, Gap, Oddity, look
    from agree.recordings.read import read_recording
    from agree.recordings.recording import Recording
    from agree.report.page.panel import draw_figure, write_figure
    from agree.report.pages import render_page, write_page
    from agree.trials.check import TrialsCheck, check_trials
    from agree.trials.meanings import TrialMeaning
    from agree.trials.pair import pair_trials
    from agree.trials.planning import TrialPlan, plan_trials
    from agree.trials.trials import Trials
    from agree.verdict.claim import Claim


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        with _LOCK:
            return importlib.import_module(f"agree.{name}")
    if name not in _HOME:
        raise AttributeError(f"module 'agree' has no attribute {name!r}")
    with _LOCK:
        value = getattr(importlib.import_module(f"agree.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
