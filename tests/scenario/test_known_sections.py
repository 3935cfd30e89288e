"""Published results and constraints of a scenario, and what they do to a precession rate."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u

from wobble.campaign.campaign import Campaign
from wobble.campaign.candidates import CandidatePasses
from wobble.campaign.schedule import Passes
from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.estimation.apriori import Apriori
from wobble.estimation.parameters import ParameterSet
from wobble.scenario.reader import read_scenario

RATE = "pole.precession_rate"
SOURCE = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"
BEFORE_45_YEARS = """
[[estimate.published]]
source = "invented: a lander of long ago"
epoch = 1987-06-01T12:00:00
correlation = [[1.0, 0.5], [0.5, 1.0]]
values = {"pole.node_longitude" = "35.43777 deg", "pole.obliquity" = "25.19182 deg"}
sigmas = {"pole.node_longitude" = "80 mas", "pole.obliquity" = "40 mas"}

[[estimate.constraint]]
coefficients = {"lander.heron.x" = 1.0, "lander.heron.y" = 2.0}
value = "12 km"

[[estimate.constraint]]
coefficients = {"lander.heron.z" = 1.0, "pole.obliquity" = 1.0}

[truth]
"""


@pytest.fixture(scope="module")
def known(short_text: str, tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    path = tmp_path_factory.mktemp("known") / "campaign.toml"
    path.write_text(short_text.replace("\n[truth]\n", BEFORE_45_YEARS), encoding="utf-8")
    return read_scenario(path)


def test_a_published_angle_stands_at_its_own_epoch(known: Campaign) -> None:
    (block,) = known.parameters.apriori
    assert block.names[:2] == ("pole.node_longitude", "pole.obliquity")
    assert block.names[2:] == (RATE, "pole.obliquity_rate")
    # From noon of 1 June 1987 (JD 2446948.0) to J2000 (JD 2451545.0) are 4597 days; TDB is
    # 55.2 s ahead of UTC then (23 leap seconds of today's 27 and 10 were 23 s in all: 32.184 + 23).
    seconds = -4597.0 * DAY + 55.184
    expected = [[1.0, 0.0, seconds, 0.0], [0.0, 1.0, 0.0, seconds]]
    np.testing.assert_allclose(block.design, expected, rtol=1e-11)
    np.testing.assert_allclose(block.values, np.radians([35.43777, 25.19182]), rtol=1e-14)
    sigma = np.array([80.0, 40.0]) * MAS
    np.testing.assert_allclose(
        block.covariance, np.outer(sigma, sigma) * [[1.0, 0.5], [0.5, 1.0]], rtol=1e-12
    )


def test_constraints_have_their_value_or_keep_that_of_the_a_priori_values(known: Campaign) -> None:
    first, second = known.parameters.conditions
    assert first.names == ("lander.heron.x", "lander.heron.y")
    np.testing.assert_array_equal(first.coefficients, [[1.0, 2.0]])
    np.testing.assert_array_equal(first.values, [12e3])
    parameters = known.parameters
    expected = parameters["lander.heron.z"].value + parameters["pole.obliquity"].value
    np.testing.assert_allclose(second.values, [expected], rtol=1e-15)


def test_the_share_of_a_fixed_rate_goes_over_to_the_value(short_text: str, tmp_path: Path) -> None:
    text = short_text.replace("\n[truth]\n", BEFORE_45_YEARS)
    text = text.replace('"pole.obliquity_rate",\n', "\n")
    path = tmp_path / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    (block,) = read_scenario(path).parameters.apriori
    assert "pole.obliquity_rate" not in block.names
    rate = read_scenario(path).parameters["pole.obliquity_rate"].value
    assert block.values[1] == pytest.approx(np.radians(25.19182) + 4597.0 * DAY * rate, abs=1e-12)


def sigma_of_the_rate(candidates: CandidatePasses, parameters: ParameterSet) -> float:
    """Standard deviation from all passes and what is known, rad/s."""
    estimated = parameters.estimated
    rows = np.vstack([*candidates.blocks, estimated.a_priori_rows()[0]])
    scale = np.linalg.norm(rows, axis=0)
    triangle = np.linalg.qr(rows / scale, mode="r")
    root = np.linalg.inv(triangle) / scale[:, None]
    return float(np.linalg.norm(root[estimated.place(RATE)]))


def with_pole(campaign: Campaign, years: float, sigma: float) -> ParameterSet:
    """The parameters with the node known, so many years before the campaign's middle."""
    start, stop = (t.tdb.jd for t in campaign.span or ())
    middle = (start + stop) / 2.0 - 2451545.0
    seconds = middle * DAY - years * JULIAN_YEAR
    known = Apriori(("pole.node_longitude", RATE), [0.0], [[sigma**2]], design=[[1.0, seconds]])
    return campaign.parameters.with_apriori(known)


@pytest.mark.slow
def test_a_pole_known_decades_before_makes_the_precession_rate_precise() -> None:
    # One lander over one year of Mars, its rate unknown before: a prototype of its own with
    # the same kind of passes saw 18 mas/yr. With a pole 45 years earlier the rate follows
    # from that pole's uncertainty over the span (error propagation).
    demonstration = read_scenario(SOURCE)
    assert demonstration.span is not None
    start, _ = demonstration.span
    # Without what is published: of the node and its rate nothing is known, of the obliquity
    # as much as the demonstration's passes see.
    loose = ParameterSet(demonstration.parameters)
    loose = loose.changed("pole.obliquity", sigma=1000 * MAS)
    loose = loose.changed("pole.obliquity_rate", sigma=50 * MAS / JULIAN_YEAR)
    campaign = replace(demonstration, span=(start, start + 687 * u.day), parameters=loose)
    passes: Passes = campaign.schedule(campaign.view_periods())
    candidates = campaign.candidates(passes)
    alone = sigma_of_the_rate(candidates, loose) / MAS * JULIAN_YEAR
    print(f"one lander alone: {alone:.1f} mas/yr from {len(passes)} passes")
    assert 6.0 < alone < 54.0
    for pole in (20.0, 100.0, 400.0):
        together = sigma_of_the_rate(candidates, with_pole(campaign, 45.0, pole * MAS))
        together *= JULIAN_YEAR / MAS
        print(f"a pole of {pole:g} mas 45 years before: {together:.2f} mas/yr")
        if pole >= 100.0:
            assert together == pytest.approx(pole / 45.0, rel=0.1)
