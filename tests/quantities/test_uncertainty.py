"""The reference's own uncertainty in the unit of what is measured; power's unit is refused."""

import numpy as np
import pytest

from agree import InputError, check_quantity
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over


def seen(of="heart rate", level=140.0, off=1.0, unit=""):
    rng = np.random.default_rng(1)
    t = np.arange(1800.0)
    x = level * (1 + 0.1 * np.convolve(rng.normal(size=1890), np.ones(91), "valid") / 9)
    return lay_over((t, x), (t, x + off + 0.002 * level * rng.normal(size=1800)), quantity(of, unit), absolute=True)


@pytest.mark.parametrize(("stated", "half"), [("1 bpm", 1.0), ("±1 bpm", 1.0), ("2 bpm k=2", 1.96), ("1/60 Hz", None),
                                              ("1 W", None), ("2 watts", None), ("soon", None)])
def test_in_beats(stated, half):
    plain = check_quantity(seen(), "5 bpm").as_recorded.bias
    if half is None:
        with pytest.raises(InputError, match="write it"):
            check_quantity(seen(), "5 bpm", reference_uncertainty=stated)
        return
    wide = check_quantity(seen(), "5 bpm", reference_uncertainty=stated).as_recorded.of("average").estimate
    grown = (wide.high - wide.low) / 2
    assert half * 0.9 < grown < half + (plain.high - plain.low) / 2
    assert check_quantity(seen(off=4.5), "5 bpm").verdict == "holds"
    assert check_quantity(seen(off=4.5), "5 bpm", reference_uncertainty=stated).verdict == "not settled"


def test_a_degree_is_a_degree_in_any_unit():
    for unit, by, zero in (("°C", 1.0, 0.0), ("°F", 1.8, 32.0), ("K", 1.0, 273.15)):
        rng = np.random.default_rng(2)
        t = np.arange(900.0)
        core = 37.5 + 0.5 * np.sin(t / 100)
        pill = core + 0.2 + 0.01 * rng.normal(size=900)
        over = lay_over((t, core * by + zero), (t, pill * by + zero), quantity("core temperature", unit), absolute=True)
        verdicts = [check_quantity(over, "0.3 °C", reference_uncertainty=stated).verdict
                    for stated in ("±0.09 °F", "±0.15 K")]
        assert verdicts == ["holds", "not settled"]
        with pytest.raises(InputError, match="is not understood for core temperature; write it in"):
            check_quantity(over, "0.3 °C", reference_uncertainty="1 %")
        with pytest.raises(InputError, match="is not understood for core temperature; write it in"):
            check_quantity(over, "0.3 °C", reference_uncertainty=1.0)
