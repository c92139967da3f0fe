"""What is likely wrong, in sentences: the largest cause that is likely first."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.diagnosis.evidence import Finding
from agree.report.story.vocabulary import FAULTS

HARDLY = 0.5           # strength below which a cause is a hint and stands after the others
CAUSES = {
    "scale": "reads a fixed percentage {side} at every power",
    "scale, perhaps offset too": "reads a fixed percentage {side} at every power, perhaps with a zero error",
    "offset, perhaps scale too": "a zero error {side}, perhaps with a wrong scale",
    "offset": "a zero error: the same number of watts {side} at every power",
    "offset in N m": "a zero error: the same torque {side} at every power",
    "drift": "drifts within the session",
    "drift with temperature": "drifts with temperature",
    "step": "the zero or the scale changed once within the session",
    "differs between sessions": "the error changes from session to session",
    "crank length set wrong": "a wrong crank length in the settings",
    "loss between the two": "a drivetrain loss between the two measuring points",
    "scale or offset": "a wrong scale or a wrong zero: the range ridden cannot tell which",
    "delay": "the device is late against the reference",
    "one side doubled": "the device doubles the reading of one side",
    "one side doubled or noise": "the device doubles the reading of one side, or is noisy",
}
FAULT_CAUSES = {"wakes late": "late_start", "ends early": "early_end", "saturates": "saturation",
                "dropouts": "dropout", "partial readings": "partial", "held values": "held", "spikes": "spike"}


def cause_words(item: Finding) -> str:
    """Say one cause with its size."""
    role, _, rest = item.cause.partition(" ")
    size = f" ({item.key})" if item.key else ""
    if role in ("device", "reference") and rest in FAULT_CAUSES:
        return f"the {role} {FAULTS[FAULT_CAUSES[rest]]}{size}"
    side = "too low" if item.key.startswith("-") else "too high"
    known = CAUSES.get(item.cause)
    return (known.format(side=side) if known else item.cause) + size


def causes(check: ClaimCheck) -> tuple[str, ...]:
    """Return the causes in order of size times strength, hints last; empty if nothing stands out."""
    ordered = sorted(check.findings, key=lambda item: (item.strength < HARDLY, -item.percent * item.strength))
    return tuple(cause_words(item) for item in ordered)
