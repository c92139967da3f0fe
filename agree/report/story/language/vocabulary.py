"""The words of every report. One word for one idea; what is said of a check is said in these words alone."""

from __future__ import annotations

from agree.verdict.rule import FAILS, HOLDS, OPEN

PLACE = {HOLDS: "all of it inside", FAILS: "all of it outside", OPEN: "partly inside"}
SHORT_PLACE = {HOLDS: "inside", FAILS: "outside", OPEN: "partly", "too thin": "too short, not judged",
               "outside the claim": "not claimed here"}
QUESTIONS = {"average": "mean error", "bands": "each power band", "readings": "single {window}-s readings",
             "next_session": "the next session"}
FAULTS = {
    "late_start": "started late", "early_end": "stopped early", "saturation": "reached its ceiling",
    "held": "froze at one value", "dropout": "dropped to 0", "spike": "jumped to a wild value",
    "partial": "lost part of its reading", "auto_zero_step": "changed its zero",
    "step": "changed its level", "warm_up_drift": "drifted while warming up",
}
WHO = {"device": "the device", "reference": "the reference", "either": "one of the two"}
REASONS = {"missing": "not recorded by both", "both_coasting": "coasting", "beside_fault": "next to a faulty second",
           "beside_gap": "beside a gap or a stop that the slower one still answers to"}
CAUTION = "This unit, not the model; no calibration."
LONG_CAUTION = ("This unit against this reference, on these rides: not the model, and not a calibration. Before you "
                "publish that a device fails, have it checked by an accredited laboratory.")
# Words of earlier drafts and of statistics that a reader of a report need not know; a test looks for them.
BANNED = ("bias", "trueness", "95 % of readings", "confidence", "margin", "budget", "variance", "rectangular", "ppm",
          "cross-validation", "blocks left out", "beside fault", "too thin", "u =", "P >")


def question(meaning: str, window_s: int) -> str:
    """Return what a meaning asks about, in the words of every report."""
    return QUESTIONS[meaning].format(window=window_s)


def fault(reason: str) -> str:
    """Say a reason for setting seconds aside, such as "the device froze at one value"."""
    if reason in REASONS:
        return REASONS[reason]
    role, _, kind = reason.partition("_")
    if role in WHO:
        return f"{WHO[role]} {FAULTS.get(kind, kind.replace('_', ' '))}"
    return f"one of the two {FAULTS.get(reason, reason.replace('_', ' '))}"


def duration(seconds: float) -> str:
    """Say a length of time shortly: seconds, minutes below 100, else hours with a decimal."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = seconds / 60
    return f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60:.1f} h"


def counted(count: int, noun: str) -> str:
    """Return "1 session", "3 sessions"."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"
