"""The check by hand: pencil and program agree, and a wrong constant is noticed.

The pencil is the reference here: first-order formulas of textbooks and papers, named in the
modules, with constants that one remembers. Each ratio must lie in the range that the formula's
neglects allow.
"""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import wobble
from wobble.check.lines import HandCheck, HandLine
from wobble.check.noise_by_hand import noise_lines
from wobble.check.scene import Orbit
from wobble.errors import InputError, UnknownNameError
from wobble.link import delays
from wobble.noise.budget_table import LinkConditions

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def demonstration():
    return wobble.read_scenario(ROOT / "synthetic_passes" / "campaign.toml")


@pytest.fixture(scope="module")
def checked(demonstration):
    return wobble.hand_check(demonstration)


def line(**changed):
    given = HandLine("q", "1 + 1", 2.0, 2.0, "m", (0.9, 1.1), "nothing")
    return replace(given, **changed)


def test_every_number_of_the_demonstration_agrees_within_its_range(checked):
    assert len(checked) > 25
    for number in checked.lines:
        low, high = number.expected
        assert low <= number.ratio <= high, (number.quantity, number.ratio)
        # A range that holds a factor of two would let everything pass.
        assert 0.5 <= low < high <= 2.0


def test_the_headline_numbers_are_all_there(checked):
    names = " ".join(number.quantity for number in checked.lines)
    for wanted in (
        "light time",
        "Doppler swing of a lander, latitude 0 deg",
        "Doppler swing of a lander, latitude 60 deg",
        "Doppler swing of the station alder",
        "gravitational delay at conjunction",
        "corona at",
        "troposphere over",
        "ionosphere over",
        "signature of pole.precession_rate",
        "signature of core.factor",
        "noise: thermal phase",
        "noise: solar plasma at 20 deg",
        "C/MR^2",
    ):
        assert wanted in names, wanted


def test_the_formulas_have_their_numbers_put_in(checked):
    for number in checked.lines:
        assert re.search(r"\d", number.formula), number.quantity


def test_known_numbers_come_out_of_the_pencil(checked):
    # Equatorial speed of Mars 241 m/s (2 pi 3396.19 km / 88642.66 s: IAU 2015 values).
    swing = checked["Doppler swing of a lander, latitude 0 deg"]
    assert swing.pencil == pytest.approx(240.7, abs=0.1)
    # C/MR^2 = 0.36367 +- 0.00010 (Baland et al. 2020, Celest. Mech. Dyn. Astron. 132, 47).
    moment = next(n for n in checked.lines if n.quantity.startswith("C/MR^2"))
    assert moment.pencil == pytest.approx(0.36367, abs=2e-4)
    # Geodetic precession 6.754 mas/yr (Baland et al. 2023, Astron. Astrophys. 670, A29).
    assert checked["precession by relativity"].pencil == pytest.approx(6.754, abs=0.01)
    # About 250 us grazing (Shapiro et al. 1977); less at a degree from the Sun.
    delay = next(n for n in checked.lines if "gravitational" in n.quantity)
    assert 150.0 < delay.pencil < 250.0


def test_kepler_gives_the_orbits_of_the_planets():
    # 1.5237 au for Mars (Explanatory Supplement, from memory).
    assert Orbit(686.98, 0.0934).radius == pytest.approx(1.5237, abs=2e-4)


def test_a_wrong_mass_of_the_sun_is_flagged(demonstration, monkeypatch):
    monkeypatch.setattr(delays, "GM", {**delays.GM, "sun": 3.0 * delays.GM["sun"]})
    found = wobble.hand_check(demonstration)
    (bad,) = [n for n in found.flagged if "gravitational" in n.quantity]
    assert bad.ratio == pytest.approx(3.0, rel=0.05)
    assert bad.verdict.startswith("A FACTOR OF 3")
    assert "A FACTOR OF TWO APART" in found.summary


def test_a_wrong_carrier_is_flagged(demonstration):
    # A carrier 20 dB weaker than the pencil was told is ten times the noise.
    (right,) = _thermal(demonstration.budget)
    weaker = replace(
        demonstration.budget,
        contributions=tuple(
            replace(c, carrier_to_noise_density_db=7.0) if c.name == "thermal_phase" else c
            for c in demonstration.budget.contributions
        ),
    )
    (wrong,) = _thermal(weaker)
    mixed = replace(right, program=wrong.program)
    assert mixed.ratio == pytest.approx(10.0, rel=1e-6)
    assert mixed.flagged


def _thermal(budget):
    return [n for n in noise_lines(budget, LinkConditions()) if "thermal phase" in n.quantity]


def test_a_span_too_short_to_tell_node_from_spin_has_no_line_of_its_precision(
    short_campaign, short_passes
):
    found = wobble.hand_check(short_campaign, passes=short_passes)
    assert "sigma of the precession rate" not in [n.quantity for n in found.lines]


@pytest.mark.slow  # the view periods of two years
def test_the_precision_of_the_precession_rate_is_that_of_a_pencil(demonstration):
    passes = demonstration.schedule(demonstration.view_periods())
    number = wobble.hand_check(demonstration, passes=passes)["sigma of the precession rate"]
    assert number.as_expected, number


def test_verdicts_are_words():
    assert line().verdict == "agrees"
    assert line(program=2.5).verdict == "apart, expected 0.9 to 1.1"
    assert not line(program=2.5).flagged
    assert line(program=0.9).verdict == "A FACTOR OF 2.22 apart, expected 0.9 to 1.1"
    assert line(program=4.0).flagged
    assert line(program=-2.0).verdict.startswith("A SIGN apart")
    assert line(pencil=0.0).flagged
    assert line(program=math.nan).verdict.startswith("infinitely far")


def test_a_check_shows_itself():
    found = HandCheck("a <name>", (line(), line(quantity="r", program=9.0)))
    assert repr(found).startswith("<HandCheck of 'a <name>': 1 of 2 numbers agree")
    text = found._repr_html_()
    assert "a &lt;name&gt;" in text
    assert "A FACTOR OF 4.5" in text
    assert text.count("font-weight:bold") == 1
    assert found.table()["ratio"].tolist() == [1.0, 4.5]
    assert found.as_json()["flagged"] == ["r"]
    with pytest.raises(UnknownNameError, match="perhaps 'q'"):
        found["qq"]


def test_a_campaign_without_dates_is_checked_over_its_data():
    lunar = wobble.read_scenario(ROOT / "tests" / "data" / "lunar_ranging" / "scenario.toml")
    found = wobble.hand_check(lunar)
    assert [n.quantity.split(" ")[0] for n in found.lines] == ["light", "Doppler", "troposphere"]
    assert not found.flagged
    # The optical troposphere at the zenith of sea level is 2.4 m (from memory).
    assert found.lines[2].program * np.sin(np.radians(57.8)) == pytest.approx(2.0, abs=0.1)


def test_a_campaign_without_dates_and_data_is_refused(demonstration):
    with pytest.raises(InputError, match="nothing tells when"):
        wobble.hand_check(replace(demonstration, span=None, data_files=()))
