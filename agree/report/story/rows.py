"""Rows of a report: the four questions, the power bands, the sessions, each with the interval that decides."""

from __future__ import annotations

from typing import NamedTuple

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.fault import NO_FAULT
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.report.story.answer import band_name, decisive, share_text, shown_band
from agree.report.story.language.digits import first_places, interval_text, plain, rounded, shown
from agree.report.story.language.names import date_of, short
from agree.report.story.language.vocabulary import SHORT_PLACE, question
from agree.verdict.meanings import Reading


class QuestionRow(NamedTuple):
    """One of the four questions: its words, answer, figures, and what is drawn."""

    meaning: str
    words: str
    verdict: str
    figures: str
    estimate: Estimate | None
    limit: float
    unit: str
    asked: bool


class BandRow(NamedTuple):
    """One power band: ends, seconds, figures with the interval that decides, place against the claim."""

    low: float
    high: float
    name: str
    seconds: int
    figures: str
    limit: str
    place: str
    verdict: str
    estimate: Estimate
    limit_percent: float


class SessionRow(NamedTuple):
    """One session: number, day, files, seconds used and faulty, its error, whether it is far from the others."""

    number: int
    date: str
    day: str
    reference: str
    device: str
    used_s: int
    faulty_s: int
    error: str
    estimate: Estimate | None
    odd: bool


def question_rows(check: ClaimCheck) -> tuple[QuestionRow, ...]:
    """Return the four questions, mild to strict."""
    return tuple(_question(check, item) for item in check.readings)


def _question(check: ClaimCheck, item: Reading) -> QuestionRow:
    words = question(item.meaning, check.window_s)
    estimate, limit = decisive(item, check.decision_rule), item.limit
    if item.meaning == "bands":
        band = shown_band(check)
        estimate, limit = (None, limit) if band is None else (band.deciding, band.limit_percent)
        figures = "no band is long enough" if band is None else (
            f"{interval_text(band.deciding, '%', limit)} at {band_name(band)}")
    elif estimate is None:
        few = item.meaning == "next_session" and len(check.pairs) < 2
        figures = "needs 2 sessions or more" if few else "too little to judge"
    elif item.unit == "share":
        share, between = share_text(estimate, limit)
        figures = f"{share} inside ({between.removesuffix(' %')}); {100 * limit:g} % needed"
    else:
        figures = interval_text(estimate, item.unit, limit)
    return QuestionRow(item.meaning, words, item.verdict, figures, estimate, limit, item.unit,
                       item.meaning == check.meaning)


def band_rows(check: ClaimCheck) -> tuple[BandRow, ...]:
    """Return the bands in which anything was recorded."""
    return tuple(BandRow(
        band.low, band.high, band_name(band), band.seconds, interval_text(band.deciding, "", band.limit_percent),
        f"±{shown(band.deciding, band.limit_percent).limit:.15g}", SHORT_PLACE[band.verdict], band.verdict,
        band.deciding, band.limit_percent)
        for band in check.bands if band.seconds)


def session_rows(check: ClaimCheck) -> tuple[SessionRow, ...]:
    """Return the sessions in the order given."""
    odd = check.effects.odd if check.effects is not None else ()
    average = next(item for item in check.readings if item.meaning == "average")
    places = first_places(average.limit / 10)  # a tenth of the claim is told apart
    rows = []
    for k, item in enumerate(check.pairs):
        own = check.session_bias[k] if k < len(check.session_bias) else None
        error = "-" if own is None else f"{plain(rounded(own.value, places), places, sign=True)} {check.claim.unit}"
        label = "" if item.session == str(k + 1) else short(item.session, 11)
        rows.append(SessionRow(k + 1, date_of(item) or label, date_of(item, year=False) or label,
                               short(item.reference_name, 40), short(item.device_name, 40), int(item.used.sum()),
                               _faulty(item), error, own, k in odd))
    return tuple(rows)


def _faulty(item: Pairs) -> int:
    return sum(count for reason, count in item.counts().items() if reason not in NO_FAULT or reason == "beside_fault")
