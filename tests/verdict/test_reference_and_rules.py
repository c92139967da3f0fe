"""What is known of the reference, decision rules and the budget, through the whole check."""

import numpy as np
import pytest

from agree import Estimate, InputError, check_claim
from agree.verdict.rule import RULES, decide
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def test_calibration_moves_the_bias(rng):
    pairs = session(rng, scale=1.0, sd=1.0)
    high = check_claim(pairs, "1.5 %", reference_uncertainty="reads 2 % high ± 0.2 % k=2")
    # a reference that reads 2 % high hides 2 % of the device's error
    assert high.bias.value == pytest.approx(2.0, abs=0.15)
    assert high.verdict == "does not hold"
    assert any("multiplied by 0.9804" in note for note in high.notes)


def test_declared_loss_is_taken_off_before_judging(rng):
    hub = session(rng, scale=0.975, sd=1.0)
    assert check_claim(hub, "1.5 %").verdict == "does not hold"
    declared = check_claim(hub, "1.5 %", drivetrain_loss="2.5 ± 1 %")
    assert declared.bias.value == pytest.approx(0, abs=0.15)
    assert declared.verdict == "holds"
    assert declared.budget[0].name == "drivetrain loss"


def test_budget_shares(rng):
    check = check_claim(session(rng, sd=1.0), "1.5 %", reference_uncertainty="±1 %; 1 W")
    assert sum(term.share for term in check.budget) == pytest.approx(1)
    total = sum(term.u**2 for term in check.budget) ** 0.5
    assert total == pytest.approx(check.reading.estimate.standard_error, rel=1e-9)
    assert [term.name for term in check.budget][:2] == ["reference", "reference (2)"]


def test_undecidable_is_said_first(rng):
    check = check_claim(session(rng, sd=1.0), "1.5 %", reference_uncertainty="±1.6 %")
    assert check.notes[0].startswith("The reference alone makes the claim undecidable")
    known = check_claim(session(rng, sd=1.0), "1.5 %", reference_uncertainty="±0.5 %")
    assert not any("undecidable" in note for note in known.notes)


@pytest.mark.parametrize(("value", "answers"), [
    # T = 1.5, u = 0.35: margins 2u = 0.70, 1.645u = 0.576, t_8 u = 0.807
    (0.6, ("holds", "holds", "holds", "holds")),
    (0.75, ("not settled", "holds", "holds", "holds")),
    (0.9, ("not settled", "not settled", "holds", "holds")),
    (1.4, ("not settled", "not settled", "not settled", "holds")),
    (1.6, ("not settled", "not settled", "not settled", "does not hold")),
    (2.1, ("not settled", "not settled", "does not hold", "does not hold")),
    (-2.4, ("does not hold", "does not hold", "does not hold", "does not hold")),
])
def test_rules(value, answers):
    half = 2.306004 * 0.35
    item = Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t", standard_error=0.35, df=8)
    assert tuple(decide(item, 1.5, rule)[0] for rule in RULES) == answers


def test_rule_is_stated(rng):
    check = check_claim(session(rng, scale=1.01, sd=1.0), "1.5 %", decision_rule="guard 2u")
    assert check.decision_rule == check.to_dict()["decision_rule"] == "guard 2u"
    assert any(note.startswith("Decision rule: guard 2u") for note in check.notes)
    with pytest.raises(InputError) as caught:
        check_claim(session(rng), "1 %", decision_rule="lenient")
    assert str(caught.value) == ("`decision_rule` must be one of 'interval', 'guard 2u', 'guard 1.645u', 'plain'; "
                                 "got 'lenient'")


def test_one_session_that_decides_is_named(rng):
    pairs = [session(rng, scale=s, sd=1.0, label=str(k)) for k, s in enumerate((1.010, 1.011, 1.012, 1.040))]
    check = check_claim(pairs, "1.5 %")
    assert check.effects.between_sd == pytest.approx(1.45, abs=0.2)
    assert any("Without session 4 the mean would lie on the other side of the limit" in note for note in check.notes)
    assert np.isclose(check.effects.mean.value, 1.83, atol=0.2)


def test_full_scale_claim(rng):
    # 1 % of 2,000 W is 20 W: a 5 % error at some 220 W is inside
    assert check_claim(session(rng, scale=1.05, sd=1.0), "1 % of 2000 W").verdict == "holds"
