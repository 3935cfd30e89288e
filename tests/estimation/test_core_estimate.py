"""Precession and core of a solution, as the input of an inference of the interior."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented import TablePasses, seasonal_pass

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.core_estimate import NAMES, CoreEstimate
from wobble.estimation.fit import fit
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.solution import Solution
from wobble.files.core_estimate_file import read_core_estimate
from wobble.files.solution_files import write_solution
from wobble.planet.core_compliance import GivenCompliance
from wobble.planet.interior import PlanetFigure
from wobble.planet.nutation import PrecessionBudget
from wobble.planet.rigid_axis import RigidPlanet

MAS_PER_YEAR = MAS / JULIAN_YEAR
PUBLISHED = {
    # Konopliv et al. 2016, Icarus 274, 253; Le Maistre et al. 2023, Nature 619, 733 (from memory).
    "pole.precession_rate": (-7608.3 * MAS_PER_YEAR, 2.1 * MAS_PER_YEAR),
    "core.factor": (0.061, 0.006),
    "core.period": (-242.3 * DAY, 2.7 * DAY),
}


@pytest.fixture(scope="module")
def solution() -> Solution:
    """A fit of six correlated parameters, three of which bear the names."""
    rng = np.random.default_rng(1)
    names = ("core.period", "spin.rate", "pole.precession_rate", "core.factor", "a.b", "a.c")
    units = ("d", "deg / d", "mas / yr", "", "m", "m")
    parameters = ParameterSet(Parameter(n, u) for n, u in zip(names, units, strict=True))
    return fit(TablePasses([seasonal_pass(rng, i) for i in range(12)], np.zeros(6)), parameters)


def test_a_solution_gives_its_realistic_covariance_in_the_order_of_the_names(
    solution: Solution,
) -> None:
    found = CoreEstimate.of(solution)
    assert found.names == NAMES
    places = [solution.names.index(name) for name in NAMES]
    np.testing.assert_array_equal(found.mean, solution.values[places])
    for i, row in enumerate(places):
        for j, column in enumerate(places):
            assert found.covariance[i, j] == solution.covariance_realistic[row, column]
    assert abs(found.covariance[0, 1]) > 0.0


def test_files_give_what_the_solution_gives(solution: Solution, tmp_path: Path) -> None:
    write_solution(tmp_path, solution)
    direct = CoreEstimate.of(solution)
    for path in (tmp_path, tmp_path / "solution.ecsv"):
        found = read_core_estimate(path)
        np.testing.assert_array_equal(found.covariance, direct.covariance)
        assert str(path) in found.note
    by_json = read_core_estimate(tmp_path / "solution.json")
    np.testing.assert_allclose(by_json.mean, direct.mean, rtol=1e-12)
    variances = np.diag(np.diag(direct.covariance))
    np.testing.assert_allclose(by_json.covariance, variances, rtol=1e-12)
    assert "correlations" in by_json.note


def test_the_note_names_what_is_limited_a_priori(solution: Solution) -> None:
    assert CoreEstimate.of(solution).note == "estimates of a solution, realistic covariance"
    share = np.array([0.6 if name == "core.period" else 0.1 for name in solution.names])
    by = tuple(solution.names)
    limited = CoreEstimate.of(replace(solution, a_priori_share=share, limited_by=by))
    assert limited.note.endswith("realistic covariance; core.period limited a priori (its own)")


def test_a_value_beside_the_solution_takes_the_place_of_its_own(solution: Solution) -> None:
    own = CoreEstimate.of(solution)
    stated = CoreEstimate.from_values({"core.period": PUBLISHED["core.period"]}, "stated")
    both = own.replaced_by(stated)
    assert both.names == NAMES
    assert both.value("core.period") == pytest.approx(PUBLISHED["core.period"])
    np.testing.assert_array_equal(both.covariance[:2, :2], own.covariance[:2, :2])
    assert (both.covariance[2, :2] == 0.0).all()
    assert "stated" in both.note


def test_values_alone_are_independent() -> None:
    found = CoreEstimate.from_values(PUBLISHED, "published")
    assert found.names == NAMES
    np.testing.assert_allclose(
        np.sqrt(np.diag(found.covariance)), [v[1] for v in PUBLISHED.values()]
    )
    assert np.count_nonzero(found.covariance) == 3
    assert found.tells_of_the_core


def test_what_is_missing_is_named() -> None:
    rate = CoreEstimate.from_values({"pole.precession_rate": PUBLISHED["pole.precession_rate"]}, "")
    assert not rate.tells_of_the_core
    with pytest.raises(InputError, match=r"core\.factor.*not known"):
        rate.value("core.factor")
    with pytest.raises(InputError, match=r"core\.factor.*negative uncertainty"):
        CoreEstimate.from_values({"core.factor": (0.06, -0.01)}, "")
    with pytest.raises(UnknownNameError, match=r"core\.radius"):
        CoreEstimate.from_values({"core.radius": (1.8e6, 1e4)}, "")


def test_interior_and_moment_follow_from_the_published_values() -> None:
    """C/MR^2 = 0.36367 +- 0.00010 and a core of 1835 +- 55 km (Le Maistre et al. 2023).

    Konopliv et al. 2016 and Baland et al. 2020 for the moment. Uniform layers and a rigid
    mantle here: a smaller core than published.
    """
    spin = np.radians(350.891985303) / DAY
    budget = PrecessionBudget(
        RigidPlanet("mars", 0.00538017, spin, 0.05898, 0.43069, 1.43062, 0.43964),
        {"all": -7615.27 * MAS_PER_YEAR},
        6.755 * MAS_PER_YEAR,
    )
    figure = PlanetFigure(4.2828372854e13, 3.3895e6, 1.956606734e-3, 3.396e6, spin)
    found = CoreEstimate.from_values(PUBLISHED, "published")
    moment = found.polar_moment(budget, figure)
    assert moment.moment == pytest.approx(0.36367, abs=0.00003)
    assert moment.moment_sigma == pytest.approx(0.00010, abs=0.000005)
    rng = np.random.default_rng(3)
    samples = found.interior(budget, figure, GivenCompliance(), rng, samples=400)
    assert 1.55e6 < samples.median("core_radius") < 1.835e6


@pytest.mark.parametrize(
    ("name", "text", "match"),
    [
        ("solution.json", "{", "not a solution in JSON"),
        ("solution.json", "{}", "not a solution in JSON"),
        ("solution.json", '{"parameters": {"core.factor": {"value": 1}}}', "unit"),
        ("solution.json", '{"parameters": {"spin.rate": {}}}', "no parameter that tells"),
        ("solution.ecsv", "nothing", "not whole"),
    ],
)
def test_files_that_are_no_solution_are_refused(
    tmp_path: Path, name: str, text: str, match: str
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=match):
        read_core_estimate(tmp_path / name)


def test_a_value_that_is_null_is_refused(tmp_path: Path) -> None:
    content = {"core.factor": {"value": None, "unit": "", "sigma_realistic": 1.0}}
    path = tmp_path / "solution.json"
    path.write_text(json.dumps({"parameters": content}), encoding="utf-8")
    with pytest.raises(InputError, match="not a solution in JSON"):
        read_core_estimate(path)
    with pytest.raises(InputError, match="is not found"):
        read_core_estimate(tmp_path / "absent.json")
