"""Signatures: the first-order formulas are the hand check, the full model is the judge."""

import sys
from pathlib import Path

import astropy.units as u
import numpy as np
import pytest

from wobble.campaign.sensitivity import first_order, signatures
from wobble.constants import MAS
from wobble.errors import InputError

sys.path.insert(0, str(Path(__file__).parents[1] / "link"))
import scene  # noqa: E402  # the invented station and lander of the link's tests

SPIN = 7.0882e-5  # sidereal rate of Mars, rad/s


def a_pass():
    return scene.later(300.3) + np.arange(0.0, 6.0, 0.1) * u.hour


def a_season():
    return scene.later(np.linspace(1.0, 688.0, 700))


@pytest.mark.parametrize("tags", [a_pass(), a_season()], ids=("pass", "season"))
def test_first_order_formulas_agree_with_the_full_model(tags):
    # Yseboodt, Dehant & Peters 2017: good to v/c and the angle between the legs.
    link = scene.two_way()
    full, simple = signatures(link, tags), first_order(link, tags)
    assert full.names == simple.names
    for exact, formula in ((full.range, simple.range), (full.range_rate, simple.range_rate)):
        size = np.abs(exact).max(axis=0)
        error = np.abs(formula - exact).max(axis=0) / np.where(size > 0, size, 1.0)
        small = [n for n, e in zip(full.names, error, strict=True) if not e < 2e-3]
        # The axial coordinate shows in a range rate only by the Earth's slow motion.
        assert small in ([], ["lander.ridge.z"])


def test_a_milliarcsecond_of_spin_moves_an_equatorial_lander_by_16_millimetres():
    # By hand: R cos(theta) 1 mas = 3394 km cos(17 deg) 4.848e-9 = 15.7 mm at most, when the Earth
    # rises or sets; times the spin rate 1.1e-3 mm/s, when it culminates.
    found = signatures(scene.two_way(), a_season(), ["spin.annual_cos", "spin.angle"])
    table = found.table()
    assert table["unit"].tolist() == ["mas", "deg"]
    largest = 3394e3 * np.cos(np.radians(17.0)) * MAS
    assert table["range, largest"][0].to_value("m") == pytest.approx(largest, rel=0.03)
    rate = table["range rate, largest"][0].to_value("m/s")
    assert rate == pytest.approx(largest * SPIN, rel=0.03)


def test_precession_grows_with_time():
    # One mas/yr after 20 years is 20 mas: R 20 mas = 0.33 m at most.
    found = signatures(scene.two_way(), a_season(), ["pole.precession_rate"])
    assert 0.1 < np.abs(found.range).max() < 3400e3 * 22 * MAS


def test_a_radial_offset_of_the_planet_is_a_range():
    found = signatures(scene.two_way(), a_pass(), ["ephemeris.mars.radial", "lander.ridge.x"])
    assert np.all(np.abs(found.range[:, 0]) <= 1.0 + 1e-3)
    assert np.abs(found.range_rate[:, 0]).max() < 1e-6


def test_a_parameter_that_nothing_depends_on_is_named():
    with pytest.raises(InputError, match=r"corona\.scale"):
        signatures(scene.two_way(), a_pass(), ["corona.scale"])
    with pytest.raises(InputError, match=r"ephemeris\.mars\.radial"):
        first_order(scene.two_way(), a_pass(), ["ephemeris.mars.radial"])


def test_signatures_show_themselves():
    found = signatures(scene.two_way(), a_pass(), ["spin.angle"])
    assert "1 parameters at 60 epochs, 2020-11-05" in repr(found)
    assert "spin.angle" in found._repr_html_()
