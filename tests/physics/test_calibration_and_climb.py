"""Calibration masses both ways, and power of climbs."""

import numpy as np
import pytest

from agree import Estimate, InputError
from agree.physics.calibration_mass import mass_for_no_error, mass_of_water, wrong_mass
from agree.physics.climb import Ride, climb_power, two_gradients


def test_a_wrong_mass_and_back():
    made = wrong_mass(20.0, uncounted_kg=0.4, u_kg=0.02)
    assert made.scale_error_percent.value == pytest.approx(100 * (20 / 20.4 - 1))
    # u of 20 g in 20.4 kg is 0.098 %, of the ratio as well
    assert made.scale_error_percent.high - made.scale_error_percent.value == pytest.approx(1.96 * 0.0961, abs=2e-3)
    assert made.hung_kg == 20.4
    back = mass_for_no_error(20.0, Estimate(value=2.0, low=1.0, high=3.0, level=0.95, method="t"))
    assert (back.value, back.low, back.high) == pytest.approx((20.4, 20.2, 20.6))
    # hanging that mass with 20 kg stated undoes an error of 2 %
    assert 1.02 * (1 + wrong_mass(20.0, hung_kg=back.value).scale_error_percent.value / 100) == pytest.approx(1.0)
    assert wrong_mass(20.0, gravity=9.78).scale_error_percent.value == pytest.approx(100 * (9.80665 / 9.78 - 1))
    assert mass_of_water(10).value == pytest.approx(9.982)
    with pytest.raises(InputError, match="stated_kg"):
        wrong_mass(0.0)


def test_climbs():
    """Check values by hand: 317.3 W at the wheel, 324.7 W at the crank; 286.7 W between two gradients."""
    ride = Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1, rolling=0.005, drag_area=0.35)
    assert ride.power() * 0.977 == pytest.approx(317.3, abs=0.05)
    found = climb_power(ride)
    assert found.power_W.value == pytest.approx(324.7, abs=0.05)
    assert not found.can_confirm(1.5)
    assert found.can_confirm(6)
    assert sum(share for _, share in found.budget) == pytest.approx(1)
    assert two_gradients(80, 3.5, 1, 7).value == pytest.approx(286.7, abs=0.05)
    # 0.05 degrees in one angle is 0.8 % of the difference
    one = two_gradients(80, 3.5, 1, 7, u_mass_kg=0)
    assert 100 * one.standard_error / one.value / np.sqrt(2) == pytest.approx(0.83, abs=0.02)
    with pytest.raises(InputError, match=r"write the grade as a fraction, 0.08 for 8 %$"):
        Ride(mass_kg=80, grade=8, speed=4.5)


def test_the_uncertainty_of_a_climb_is_that_of_drawn_coefficients():
    ride = Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1)
    rng = np.random.default_rng(3)
    names = ("mass_kg", "grade", "speed", "rolling", "drag_area", "density", "head_wind", "efficiency")
    values = {name: getattr(ride, name) + getattr(ride, f"u_{name}") * rng.normal(size=4000) for name in names}
    values["efficiency"] = np.minimum(values["efficiency"], 1.0)  # 1 in 2,000
    drawn = [Ride(**{name: column[k] for name, column in values.items()}).power() for k in range(4000)]
    assert climb_power(ride).power_W.standard_error == pytest.approx(np.std(drawn), rel=0.05)


@pytest.mark.parametrize(("name", "low", "high"), [
    ("mass_kg", 30, 250), ("grade", -0.3, 0.3), ("speed", 0.5, 30), ("rolling", 0, 0.05), ("drag_area", 0.05, 1.5),
    ("density", 0.6, 1.5), ("head_wind", -20, 20), ("efficiency", 0.8, 1), ("gravity", 9.7, 9.9)])
def test_what_no_ride_has_is_refused(name, low, high):
    ride = {"mass_kg": 80, "grade": 0.08, "speed": 4, "rolling": 0.004, "drag_area": 0.4}
    for value in (low, high):
        Ride(**{**ride, name: value})
    for value in (low - 0.001, high + 0.001):
        with pytest.raises(InputError, match=f"`{name}` must lie between"):
            Ride(**{**ride, name: value})
