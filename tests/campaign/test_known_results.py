"""Known results of the field come out of the prediction of precision.

One station and two landers on Mars, near the equator and at 60 degrees north, over a Martian
year; in each week in which both are seen, the longest view period of each gives a pass.
"""

from dataclasses import replace

import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.campaign.precision import precision_of
from wobble.campaign.schedule import Passes
from wobble.constants import DAY, MAS
from wobble.estimation.apriori import Apriori
from wobble.scenario.reader import read_scenario

YEAR = 365.25 * DAY
SCENARIO = """
[campaign]
name = "A low and a high lander"
body = "mars"
start = 2031-05-01T00:00:00
stop = 2033-03-18T00:00:00

[station.gorse]
x = "-1654883 m"
y = "-5093206 m"
z = "3454503 m"

[lander.low]
longitude = "137 deg"
latitude = "4.6 deg"
height = "0 m"
minimum_elevation = "10 deg"

[lander.high]
longitude = "137 deg"
latitude = "60 deg"
height = "0 m"
minimum_elevation = "10 deg"

[link]
gravity = []
troposphere = "none"

[schedule]
passes_per_week = 1
pass_length = "60 min"
count_time = "3 min"
range_interval = "15 min"

[[noise]]
contribution = "white_range"

[[noise]]
contribution = "white_range_rate"

[estimate]
parameters = [
    "pole.*", "core.factor", "spin.rate", "spin.annual_*", "spin.semiannual_*",
    "polar_motion.*_annual_*", "lander.*.[xyz]",
]

[estimate.a_priori]
"pole.node_longitude" = "1e5 mas"
"pole.precession_rate" = "1e4 mas/yr"
"pole.obliquity" = "1e5 mas"
"pole.obliquity_rate" = "1e4 mas/yr"
"core.factor" = 0.07
"spin.rate" = "1e-3 deg/d"
"spin.*annual_*" = "100 mas"
"polar_motion.*annual_*" = "100 mas"
"lander.*.[xyz]" = "10 km"

[estimate.pass_biases]
range = "2 m"
range_rate = "0.01 mm/s"
"""


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    path = tmp_path_factory.mktemp("known") / "campaign.toml"
    path.write_text(SCENARIO, encoding="utf-8")
    return read_scenario(path)


@pytest.fixture(scope="module")
def passes(campaign):
    periods = campaign.view_periods()
    length = campaign.rule.pass_length
    week = ((periods.start - campaign.span[0]).to_value("d") // 7).astype(int)
    longest = {}
    for k in np.argsort(periods.duration):
        if periods.duration[k] >= length:
            longest[periods.lander[k], week[k]] = k
    both = [w for w in range(week.max() + 1) if ("low", w) in longest and ("high", w) in longest]
    assert len(both) > 70
    rows = [longest[name, w] for name in ("low", "high") for w in both]
    middle = periods.start[rows] + TimeDelta(0.5 * periods.duration[rows], format="sec")
    start = middle - TimeDelta(length / 2, format="sec")
    names = np.array([f"P{i:03d}" for i in range(len(rows))])
    stop = start + TimeDelta(length, format="sec")
    return Passes(names, start, stop, *(x[rows] for x in (periods.station, periods.lander)),
                  periods.antenna[rows])  # fmt: skip


@pytest.fixture(scope="module")
def candidates(campaign, passes):
    return campaign.candidates(passes)


@pytest.fixture(scope="module")
def doppler(campaign, passes):
    """The same passes without ranges."""
    return replace(campaign, rule=replace(campaign.rule, range_interval=0.0)).candidates(passes)


def sigma(candidates, chosen, name):
    found = precision_of(candidates, chosen)
    return found.formal[found.quantities.index(name)]


def sigma_alone(candidates, chosen, name):
    """If every other parameter were known: the size of the signature, turned over."""
    found = precision_of(candidates, chosen)
    return found.alone[found.quantities.index(name)]


def on(passes, lander):
    return np.flatnonzero(passes.lander == lander)


def test_a_pole_known_decades_earlier_makes_a_good_rate_of_a_poor_one(campaign, candidates, passes):
    # Two years alone give tens of mas/yr; with the pole of landers of the 1970s the rate is
    # known to a few (Folkner et al. 1997, Science 278, 1749: 35 with 20 years and the
    # tracking of three months; Kahan et al. 2021, Planet. Space Sci. 199, 105208: 3 with 40
    # years; both from memory). Here 54 years lie between, and the early pole is known to
    # 50 mas in node longitude and obliquity.
    low = on(passes, "low")
    alone = sigma(candidates, low, "pole.precession_rate") / (MAS / YEAR)
    assert 10.0 < alone < 100.0
    early = (Time("1977-06-01") - Time("2000-01-01T12:00:00")).to_value("s")
    pole = Apriori(
        ["pole.node_longitude", "pole.precession_rate", "pole.obliquity", "pole.obliquity_rate"],
        np.zeros(2),
        np.diag([50 * MAS, 50 * MAS]) ** 2,
        design=[[1.0, early, 0.0, 0.0], [0.0, 0.0, 1.0, early]],
    )
    known = replace(campaign, parameters=campaign.parameters.with_apriori(pole))
    rows = known.parameters.estimated.a_priori_rows()[0]
    joined = replace(candidates, a_priori=rows)
    together = sigma(joined, low, "pole.precession_rate") / (MAS / YEAR)
    assert together == pytest.approx(1.0, abs=0.4)
    # By hand: the two poles' uncertainties over the years between them, from 1977.4 to the
    # middle of the campaign, 2032.3; the late pole alone is known to some tens of mas.
    middle = 32.3 * YEAR
    place = [candidates.parameters.index(n) for n in pole.names[:2]]
    covariance = np.linalg.inv((r := candidates.triangle_of(low)).T @ r)[np.ix_(place, place)]
    late = np.sqrt(np.array([1.0, middle]) @ covariance @ np.array([1.0, middle])) / MAS
    assert together == pytest.approx(np.hypot(50.0, late) / 54.9, rel=0.1)


def test_the_axial_coordinate_is_invisible_to_doppler_and_visible_to_range(
    candidates, doppler, passes
):
    # To first order a Doppler shift comes from the lander's turning about the axis alone
    # (Yseboodt, Dehant & Peters 2017, Planet. Space Sci. 144, 74).
    low = on(passes, "low")
    by_doppler = [sigma_alone(doppler, low, f"lander.low.{axis}") for axis in "xyz"]
    assert by_doppler[2] > 500 * max(by_doppler[:2])
    assert sigma(candidates, low, "lander.low.z") < 0.01 * sigma(doppler, low, "lander.low.z")


def test_a_lander_at_high_latitude_sees_polar_motion_better_and_length_of_day_worse(
    doppler, passes
):
    # The signature of the spin grows with the cosine of the latitude, that of polar motion with
    # its sine (Yseboodt, Dehant & Peters 2017).
    low, high = on(passes, "low"), on(passes, "high")
    assert len(low) == len(high)
    latitudes = np.radians([4.6, 60.0])
    for names, size in (
        (("spin.annual_cos", "spin.annual_sin", "spin.semiannual_sin"), np.cos(latitudes)),
        (("polar_motion.x_annual_cos", "polar_motion.y_annual_sin"), np.sin(latitudes)),
    ):
        for name in names:
            ratio = sigma_alone(doppler, high, name) / sigma_alone(doppler, low, name)
            assert ratio == pytest.approx(size[0] / size[1], rel=0.1)
            # With all the other parameters estimated too, the better lander is the same.
            ratio = sigma(doppler, high, name) / sigma(doppler, low, name)
            assert (ratio > 1.2) if name.startswith("spin") else (ratio < 0.5)


def test_the_precession_rate_gains_more_from_a_longer_span_than_from_more_passes(
    candidates, passes
):
    # The slope of a line is known to 1 / (span sqrt(passes)): elementary. Seasonal terms,
    # which half a Martian year hardly separates from it, make the span count for more.
    low = on(passes, "low")
    half = low[: len(low) // 2 + 1]
    few, more, longer = half[::2], half, low[::2]
    assert len(longer) == len(more)
    rates = [sigma(candidates, chosen, "pole.precession_rate") for chosen in (few, more, longer)]
    assert rates[0] / rates[1] < 2.0
    assert rates[0] / rates[2] > 2.5


def test_passes_near_zero_declination_of_the_earth_say_little_on_nutation(
    campaign, doppler, passes
):
    # For a lander near the equator the Doppler signature of nutation is proportional to the
    # sine of the Earth's declination (Yseboodt, Dehant & Peters 2017, abstract).
    low = on(passes, "low")
    tags = passes.tags(campaign.rule, campaign.frequency)
    tags = tags[tags.kind == "range"]
    along_axis = campaign.plan_network.compute(tags, ["lander.low.z"]).partials[:, 0]
    sine = np.array([np.abs(along_axis[tags.pass_id == passes.pass_id[i]]).mean() for i in low])
    assert sine.min() < 0.03
    for name in ("pole.obliquity", "core.factor"):
        column = doppler.parameters.index(name)
        told = np.array([np.sum(doppler.blocks[i][:, column] ** 2) for i in low])
        near, far = told[sine < 0.05].mean(), told[sine > 0.3].mean()
        assert near < 0.05 * far
