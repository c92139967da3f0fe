"""A device that senses one side, judged twice: as it is worn, and against twice the reference's own side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from agree.assessment.claim_check import ClaimCheck, check_claim
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.verdict.claim import Claim


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnSide(Result):
    """Both answers to a claim on a device that senses one side and doubles it.

    Attributes
    ----------
    side : str
        "left" or "right".
    worn : ClaimCheck
        Against the reference's whole power: what the device shows on this rider.
    own : ClaimCheck
        Against twice the reference's power on that side: the device itself.
    asymmetry_percent : float
        What the rider's asymmetry makes of the reading, points: the error as worn less the device's own.
    """

    side: str
    worn: ClaimCheck
    own: ClaimCheck
    asymmetry_percent: float

    @property
    def verdict(self) -> str:
        """The answer for the device as it is worn."""
        return self.worn.verdict

    def stored(self) -> dict[str, Any]:
        """Return what is added to the JSON of the check as worn."""
        return {"side": self.side, "verdict": self.own.verdict, "bias_percent": self.own.bias.to_dict(),
                "asymmetry_percent": None if math.isnan(self.asymmetry_percent) else self.asymmetry_percent}


def check_own_side(
    worn: ClaimCheck, pairs: Sequence[Pairs], side: str, claim: str | Claim, **options: Any
) -> OwnSide:
    """Judge a one-sided device against twice the reference's own side, beside a check as it is worn.

    Parameters
    ----------
    worn : ClaimCheck
        Against the reference's whole power.
    pairs : sequence of Pairs
        The same sessions, paired with `agree.recordings.one_side.twice_one_side` of the reference.
    side : {"left", "right"}
    claim : str or Claim
        As for `check_claim`.
    **options
        As for `check_claim`.

    Returns
    -------
    OwnSide

    Notes
    -----
    A device that doubles one side reads 100 (2 s - 1) per cent too much for a rider whose share on that side is s:
    -4 % at 48 %. That is no error of the sensor, yet it is one of the power shown. The balance is taken as the
    reference records it; its own error is not known here.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> from agree.trail.own_side import check_own_side
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> left = 0.96 * watts
    >>> worn = check_claim(Pairs(reference=watts, device=1.002 * left), "1.5 %")
    >>> both = check_own_side(worn, [Pairs(reference=left, device=1.002 * left)], "left", "1.5 %")
    >>> both.verdict, both.own.verdict, round(both.asymmetry_percent, 1)
    ('does not hold', 'holds', -4.0)
    """
    own = check_claim(list(pairs) if len(pairs) > 1 else pairs[0], claim, **options)
    return OwnSide(side=side, worn=worn, own=own, asymmetry_percent=_difference(worn.bias, own.bias))


def _difference(worn: Estimate, own: Estimate) -> float:
    """Share of the reading that asymmetry makes: (1 + worn) / (1 + own) - 1, per cent."""
    return 100 * ((100 + worn.value) / (100 + own.value) - 1) if own.value > -100 else math.nan
