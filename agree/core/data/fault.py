"""Names of faults and what is said of each: shared by those who find them and those who count them."""

from __future__ import annotations

from dataclasses import dataclass, field

ROLES = ("device", "reference")
WAKING = ("late_start", "early_end")
SEEN = ("saturation", "held", "dropout", "spike", "partial")
# Of the two together: which of them it was, two traces cannot tell.
SLOW = ("auto_zero_step", "step", "warm_up_drift")
FAULT_KINDS = (*WAKING, *SEEN, *SLOW)
HANDLINGS = ("set aside", "report", "keep")
# Order of precedence: a second has one reason, the first that fits. Kind by kind, not role by role: a value held
# by one trace while the other rests is not a dropout of the other.
REASONS = (
    *(f"{role}_{kind}" for kind in WAKING for role in ROLES), "missing", "both_coasting",
    *(f"{role}_{kind}" for kind in SEEN for role in ROLES), "either_partial", "beside_fault", "beside_gap",
    *SLOW,
)
NO_FAULT = ("missing", "both_coasting", "beside_fault", "beside_gap")
FIRST_EVENTS = 3  # positions shown of each kind of fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A fault found in one of two traces.

    Attributes
    ----------
    kind : str
        What it is, with the trace it is a fault of: a reason other than "missing", "both_coasting",
        "beside_fault" and "beside_gap".
    start_s : float
        When it begins, s since the first common second.
    seconds : int
        How long it lasts: of a step, the shorter side; of a warm-up, until it is over.
    energy_share : float
        The reference's energy in it, as a fraction of that over all seconds both have.
    handling : str
        "set aside": its seconds are not used; "report": they are used all the same.
    detail : dict of float
        Figures of a step or a warm-up, such as ``step_W`` and ``se_W``.
    """

    kind: str
    start_s: float
    seconds: int
    energy_share: float
    handling: str = "set aside"
    detail: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultRow:
    """All faults of one kind.

    Attributes
    ----------
    kind, handling : str
        As of each `Fault`.
    events, seconds : int
        How many, and how long all together.
    energy_share : float
        The reference's energy in them, as a fraction of that over all seconds both have.
    first_s : tuple of float
        Where the first three begin.
    bias_without, bias_with : float
        100 sum(error)/sum(reference) over the seconds used, without those of this kind and with them, in per cent;
        NaN if nothing is left.
    """

    kind: str
    handling: str
    events: int
    seconds: int
    energy_share: float
    first_s: tuple[float, ...]
    bias_without: float
    bias_with: float
