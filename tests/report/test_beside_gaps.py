"""Seconds beside a gap, which the slower device cannot be asked about, are no faulty seconds."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Pairs, check_claim, match_response
from agree.report.story.caveats import caveats, faulty_seconds
from agree.report.story.language.vocabulary import fault
from agree.report.story.rows import session_rows


@pytest.fixture(scope="module")
def pairs():
    """A lag of 6 s beside a reference that lost a minute."""
    rng = np.random.default_rng(4)
    power = np.repeat(rng.uniform(150, 350, 60), 40) + rng.normal(0, 10, 2400)
    device = lfilter([1 - np.exp(-1 / 6)], [1, -np.exp(-1 / 6)], power)
    reference, reason = power.copy(), np.full(2400, "", "<U24")
    reference[1000:1060], reason[1000:1060] = np.nan, "missing"
    return Pairs(reference=reference, device=device, reason=reason)


def test_the_tail_beside_a_gap_has_a_name_of_its_own(pairs):
    made = match_response(pairs)
    counts = made.counts()
    assert fault("beside_gap") == "beside a gap or a stop that the slower one still answers to"
    assert made.reason[1062] == "beside_gap"
    assert counts["beside_gap"] >= 10 > counts["beside_fault"] == 0
    check = check_claim(made, "2 %")
    assert (faulty_seconds(check), session_rows(check)[0].faulty_s) == (0, 0)
    assert not any("faulty" in item.text for item in caveats(check))
    assert check.seconds()["set_aside"]["beside_gap"] == counts["beside_gap"]


def test_the_tail_of_a_fault_is_still_beside_a_fault(pairs):
    reference, reason = pairs.reference.copy(), pairs.reason.copy()
    reference[500:504], reason[500:504] = 0, "reference_dropout"
    made = match_response(Pairs(reference=reference, device=pairs.device, reason=reason))
    assert [made.reason[k] for k in (506, 1062)] == ["beside_fault", "beside_gap"]
    check = check_claim(made, "2 %")
    assert faulty_seconds(check) == 4 + made.counts()["beside_fault"]
