"""A lander on the equator does not see polar motion, and the solution says so.

Polar motion moves a place at longitude l by R (x cos l - y sin l) along the axis if it lies on the
equator, and not at all within it (elementary geometry; IERS Conventions 2010, eq. 5.3 to first
order). So of x and y one combination moves the lander north and the other moves nothing: of an
annual term two of four amplitudes cannot be found from any measurement.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scenario_text import changed, with_a_pole_hardly_known

import wobble
from wobble.errors import InputError

SCENARIO = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"
LONGITUDE = np.radians(137.4)
PARAMETERS = '"pole.*", "spin.rate", "spin.annual_*", "lander.*.[xyz]", "polar_motion.*_annual_*"'


def on_the_equator(folder: Path, known: str) -> wobble.Campaign:
    """The demonstration with its lander on the equator, a pass a week, and polar motion wanted."""
    text = with_a_pole_hardly_known(SCENARIO.read_text(encoding="utf-8"))
    stations = SCENARIO.parent / "stations.toml"
    text = changed(
        text,
        ('"stations.toml"', f'"{stations}"'),
        (r"corona_scale = 1.0", "corona_scale = 0.0"),
        (r"passes_per_week = 3", "passes_per_week = 1"),
        (r'latitude = "4.6 deg"', 'latitude = "0 deg"'),
        (r'height = "-2500 m"', 'height = "0 m"'),
        (r"(?s)\nparameters = \[.*?\n\]\n", f"\nparameters = [{PARAMETERS}]\n"),
        (r'"core.factor" = 0.07\n"core.period" = "10 d"\n', known),
    )
    path = folder / "equator.toml"
    path.write_text(text, encoding="utf-8")
    return wobble.read_scenario(path)


@pytest.fixture(scope="module")
def tracking(tmp_path_factory):
    campaign = on_the_equator(tmp_path_factory.mktemp("equator"), "")
    return campaign.simulate(campaign.schedule(campaign.view_periods()))


def test_without_a_priori_knowledge_the_fit_is_refused(tracking, tmp_path):
    with pytest.raises(InputError) as refused:
        on_the_equator(tmp_path, "").fit(tracking)
    said = str(refused.value)
    for term in ("cos", "sin"):
        pair = rf"polar_motion\.x_annual_{term} by \S+ mas, polar_motion\.y_annual_{term} by"
        swapped = pair.replace(".x_", ".?_").replace(".y_", ".x_").replace(".?_", ".y_")
        assert re.search(f"{pair}|{swapped}", said), said
    assert "no datum changes when these move together" in said


def test_with_it_no_sigma_passes_for_one_that_was_measured(tracking, tmp_path):
    known = '"polar_motion.*_annual_*" = "50 mas"\n'
    solution = on_the_equator(tmp_path, known).fit(tracking)
    names = [f"polar_motion.{axis}_annual_{term}" for axis in "xy" for term in ("cos", "sin")]
    assert set(solution.a_priori_limited) >= set(names)
    unseen = [c for c in solution.unseen if set(c.names) <= set(names)]
    assert {frozenset(c.names) for c in unseen} == {
        frozenset(f"polar_motion.{axis}_annual_{term}" for axis in "xy") for term in ("cos", "sin")
    }
    for combination in unseen:
        assert combination.strength < 1e-6
        moves = {name.split("_annual")[0][-1]: amount for name, amount in combination.members}
        # x cos l = y sin l moves nothing; each by what of 50 mas lies along that. The truth of the
        # rehearsal lies some tens of metres from the nominal place: 1e-5 of the radius.
        one, other = moves["x"] * np.cos(LONGITUDE), moves["y"] * np.sin(LONGITUDE)
        assert one == pytest.approx(other, rel=1e-4)
        assert abs(moves["y"]) == pytest.approx(50.0 * abs(np.cos(LONGITUDE)), rel=1e-4)
    text = str(solution)
    assert text.count("limited a priori") >= 4
    assert "not seen by the data: only what was known before" in text
    assert solution["polar_motion.x_annual_cos"].remark == "limited a priori (its own)"
    # The lander itself, and the pole, are seen.
    assert solution["lander.heron.z"].a_priori_share < 0.01
