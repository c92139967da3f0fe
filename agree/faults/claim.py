"""A claim that some seconds of a trace lack, or exceed by, an energy, and what the budgets around it show."""

from __future__ import annotations

from typing import NamedTuple

from agree.core.thresholds import CLAIM_ERRORS, CLAIM_EVEN, CLAIM_SHARE, CLAIM_UNKNOWN


class Claim(NamedTuple):
    """A run of seconds [start, stop) that are said to lack (or exceed by) an energy, W s, and what the budgets show.

    The near budget is that from 3 s before to 3 s after the run; the far one goes on over the filter's reach.
    """

    start: int
    stop: int
    claim: float
    budget: float
    error: float     # standard error of the budget
    unknown: float   # share of the window that is unknown
    near: float
    near_error: float
    even: bool = False  # its error is that of the claim alone: true and not are as likely at a half of it
    unseen: bool = False  # the other trace would not show it: it falls between two of its readings

    @property
    def holds(self) -> bool:
        """Whether the budget meets the claim, and enough of the window is known."""
        return self.unknown <= CLAIM_UNKNOWN and self.lacks

    @property
    def lacks(self) -> bool:
        """Whether the far budget meets the claim, or the near one does and the far one allows it."""
        least = CLAIM_SHARE * self.claim
        far = self.budget >= max(least, CLAIM_ERRORS * self.error)
        near = self.near >= max(least, CLAIM_ERRORS * self.near_error) and self.budget >= least - 2 * self.error
        return self.claim > 0 and (far or near)

    @property
    def may(self) -> bool:
        """Whether the budget allows the claim, within two standard errors, and enough of the window is known."""
        least = CLAIM_SHARE * self.claim - 2 * self.error
        least = max(CLAIM_EVEN[0] * self.claim, CLAIM_EVEN[1] * self.error) if self.even else least
        return self.unknown <= CLAIM_UNKNOWN and self.budget >= least
