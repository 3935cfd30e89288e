"""Derived quantities of the interior as targets: published values, and Monte Carlo."""

import numpy as np
import pytest

from wobble.campaign.derived import DERIVED, quantity_unit
from wobble.constants import DAY, MAS
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import read_body
from wobble.planet.interior import infer_interior
from wobble.scenario.target_section import read_interior_model

YEAR = 365.25 * DAY
NAMES = ("pole.precession_rate", "core.factor", "core.period")


@pytest.fixture(scope="module")
def model():
    return read_interior_model("mars")


@pytest.fixture(scope="module")
def rotation():
    return read_body("mars").orientation.values


def test_the_moment_is_as_uncertain_as_the_precession(model, rotation):
    # Konopliv et al. 2016, Icarus 274, 253: 2.1 mas/yr; with it C/MR^2 = 0.36367 +- 0.00010
    # (Baland et al. 2020, Celest. Mech. Dyn. Astron. 132, 47).
    found = model.derived("C/MR^2", rotation)
    gradient = found.gradient(NAMES)
    assert abs(gradient[0]) * 2.1 * MAS / YEAR == pytest.approx(1.0e-4, rel=0.02)
    assert gradient[1:].tolist() == [0.0, 0.0]
    assert found.value == pytest.approx(0.36367, abs=1e-4)
    # dC/C = -d rate / (rate - geodetic precession), 6.754 mas/yr (Baland et al. 2023).
    torque = rotation["pole.precession_rate"] - 6.754 * MAS / YEAR
    assert gradient[0] == pytest.approx(-found.value / torque, rel=1e-4)


def test_the_core_radius_spreads_as_by_monte_carlo(model, rotation):
    found = model.derived("core.radius", rotation)
    sigma = np.array([2.0 * MAS / YEAR, 0.002, 3.0 * DAY])
    mean = np.array([rotation[name] for name in NAMES])
    samples = infer_interior(
        mean,
        np.diag(sigma**2),
        model.precession,
        model.figure,
        model.mantle,
        np.random.default_rng(5),
        samples=3000,
    )
    predicted = np.hypot(np.linalg.norm(found.gradient(NAMES) * sigma), found.assumed)
    # 3000 samples tell a standard deviation to 1.3 %.
    assert samples.core_radius.std() == pytest.approx(predicted, rel=0.04)
    assert found.value == pytest.approx(samples.core_radius.mean(), rel=0.005)
    assert 0 < found.assumed < 0.5 * predicted


def test_what_is_needed_and_not_estimated_is_named(model, rotation):
    with pytest.raises(InputError, match=r"core\.factor: core\.radius depends on"):
        model.derived("core.radius", rotation).gradient(("pole.precession_rate",))
    with pytest.raises(InputError, match=r"core\.factor: the body has none"):
        model.derived("core.radius", {"pole.precession_rate": -1e-12})
    with pytest.raises(InputError, match="no planet"):
        model.derived("core.radius", {**rotation, "core.factor": 1e-5})
    with pytest.raises(UnknownNameError):
        read_interior_model("vulcan")


def test_derived_quantities_have_units():
    assert {name: quantity_unit(name).user for name in DERIVED} == {
        "C/MR^2": "",
        "core.radius": "km",
    }
    assert quantity_unit("core.period").user == "d"
