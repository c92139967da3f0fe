"""`Story`: what text, page and HTML set; told once from the fields of a check."""

from __future__ import annotations

from dataclasses import dataclass

from agree.assessment.claim_check import ClaimCheck
from agree.report.story import caveats as warnings
from agree.report.story.answer import claim_line, sentence
from agree.report.story.cause import causes, has_zero_error, no_cause
from agree.report.story.doubt import main_doubt
from agree.report.story.enter import to_enter, to_enter_briefly
from agree.report.story.record import to_record
from agree.report.story.rows import BandRow, QuestionRow, SessionRow, band_rows, question_rows, session_rows
from agree.verdict.rule import FAILS


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A check in words and rows.

    Attributes
    ----------
    verdict : str
        The answer in capitals.
    claim_line, sentence : str
        What is judged on how much; the answer with the interval that decides.
    doubt, causes, enter, record : tuple of str
        The main doubt, likely causes, what to enter, what to record; sentences, what matters most first.
    no_cause : str
        What is said where there are no causes.
    enter_briefly : str
        What to enter in a few words.
    caveats : tuple of Caveat
        Warnings, those that change the answer first.
    questions, bands, sessions : tuple of rows
        Rows with words, figures and the estimates behind them.
    """

    verdict: str
    claim_line: str
    sentence: str
    doubt: tuple[str, ...]
    causes: tuple[str, ...]
    no_cause: str
    enter: tuple[str, ...]
    enter_briefly: str
    record: tuple[str, ...]
    caveats: tuple[warnings.Caveat, ...]
    questions: tuple[QuestionRow, ...]
    bands: tuple[BandRow, ...]
    sessions: tuple[SessionRow, ...]

    @property
    def also(self) -> str:
        """The answers to the other questions."""
        return "; ".join(f"{row.words}: {row.verdict}" for row in self.questions if not row.asked) + "."

    @property
    def also_briefly(self) -> str:
        """The same in few words: the answer that most have is given once, and what differs is named."""
        others = [row for row in self.questions if not row.asked]
        answers = [row.verdict for row in others]
        if len(set(answers)) == 1:
            return f"each of the {len(others)} other questions: {answers[0]}." if len(others) > 1 else self.also
        most = max(sorted(set(answers)), key=lambda item: (answers.count(item), item != FAILS))
        named = [f"{row.words}: {row.verdict}" for row in sorted(others, key=lambda row: row.verdict != FAILS)
                 if row.verdict != most]
        return f"{'; '.join(named)}; {'the others' if answers.count(most) > 1 else 'the other'}: {most}."

    @property
    def another_fails(self) -> bool:
        """Whether the answer to a question that was not asked is "does not hold"."""
        return any(row.verdict == FAILS for row in self.questions if not row.asked)


def tell(check: ClaimCheck) -> Story:
    """Tell the story of a check."""
    return Story(
        verdict=check.verdict.upper(), claim_line=claim_line(check), sentence=sentence(check), doubt=main_doubt(check),
        causes=causes(check), no_cause=no_cause(check),
        enter=to_enter(check.correction, zero_error=has_zero_error(check.findings)),
        enter_briefly=to_enter_briefly(check.correction),
        record=to_record(check), caveats=warnings.caveats(check), questions=question_rows(check),
        bands=band_rows(check), sessions=session_rows(check))
