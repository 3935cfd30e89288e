"""Signatures: the first-order formulas are the hand check, the full model is the judge."""

from functools import cache

import astropy.units as u
import numpy as np
import pytest
from astropy.time import Time

from wobble.campaign.sensitivity import first_order, signatures
from wobble.constants import MAS
from wobble.earth.orientation import EarthOrientation
from wobble.earth.stations import HorizonMask, Station
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.files.body_file import read_body
from wobble.link.ends import LanderEnd, NearEarth, StationEnd
from wobble.link.observables import Link
from wobble.planet.lander import Lander

BEGIN = Time("2020-01-10", scale="utc")
SPIN = 7.0882e-5  # sidereal rate of Mars, rad/s


@cache
def link():
    ephemeris, mars = open_ephemeris("de440"), read_body("mars")
    first, last = (Epochs.from_time(BEGIN + d * u.day, "tt") for d in (0.0, 690.0))
    near = NearEarth.over(ephemeris, EarthOrientation.over(first, last))
    place = np.array([4_849.1e3, -360.3e3, 4_114.9e3])
    station = StationEnd.on(Station("A", place, np.zeros(3), 2020.0, HorizonMask.flat(0.1)), near)
    lander = Lander.geodetic("ridge", mars, 1.0, 0.3, -2000.0)
    return Link(station, LanderEnd(lander, mars, ephemeris), station)


def a_pass():
    return BEGIN + 300.3 * u.day + np.arange(0.0, 6.0, 0.1) * u.hour


def a_season():
    return BEGIN + np.linspace(1.0, 688.0, 700) * u.day


@pytest.mark.parametrize("tags", [a_pass(), a_season()], ids=("pass", "season"))
def test_first_order_formulas_agree_with_the_full_model(tags):
    # Yseboodt, Dehant & Peters 2017: good to v/c and the angle between the legs.
    full, simple = signatures(link(), tags), first_order(link(), tags)
    assert full.names == simple.names
    for exact, formula in ((full.range, simple.range), (full.range_rate, simple.range_rate)):
        size = np.abs(exact).max(axis=0)
        error = np.abs(formula - exact).max(axis=0) / np.where(size > 0, size, 1.0)
        small = [n for n, e in zip(full.names, error, strict=True) if not e < 5e-4]
        # The axial coordinate shows in a range rate only by the Earth's slow motion.
        assert small in ([], ["lander.ridge.z"])


def test_a_milliarcsecond_of_spin_moves_an_equatorial_lander_by_16_millimetres():
    # By hand: R cos(theta) 1 mas = 3394 km cos(17 deg) 4.848e-9 = 15.7 mm at most, when the Earth
    # rises or sets; times the spin rate 1.1e-3 mm/s, when it culminates. The cosine of the season
    # is not one just then.
    found = signatures(link(), a_season(), ["spin.annual_cos", "spin.angle"])
    table = found.table()
    assert table["unit"].tolist() == ["mas", "deg"]
    largest = 3394e3 * np.cos(np.radians(17.0)) * MAS
    expected = largest * np.array([1.0, 3.6e6])  # the second is a degree
    np.testing.assert_allclose(table["range, largest"].to_value("m") / expected, 0.97, atol=0.04)
    rates = table["range rate, largest"].to_value("m/s")
    np.testing.assert_allclose(rates / expected / SPIN, 0.97, atol=0.04)


def test_precession_grows_with_time():
    # One mas/yr after 20 years is 20 mas: R 20 mas = 0.33 m at most.
    found = signatures(link(), a_season(), ["pole.precession_rate"])
    assert 0.1 < np.abs(found.range).max() < 3400e3 * 22 * MAS


def test_a_radial_offset_of_the_planet_is_a_range():
    found = signatures(link(), a_pass(), ["ephemeris.mars.radial", "lander.ridge.x"])
    assert np.all(np.abs(found.range[:, 0]) <= 1.0 + 1e-3)
    assert np.abs(found.range_rate[:, 0]).max() < 1e-6


def test_a_parameter_that_nothing_depends_on_is_named():
    with pytest.raises(InputError, match=r"corona\.scale"):
        signatures(link(), a_pass(), ["corona.scale"])
    with pytest.raises(InputError, match=r"ephemeris\.mars\.radial"):
        first_order(link(), a_pass(), ["ephemeris.mars.radial"])


def test_signatures_show_themselves():
    found = signatures(link(), a_pass(), ["spin.angle"])
    assert "1 parameters at 60 epochs, 2020-11-05" in repr(found)
    assert "spin.angle" in found._repr_html_()
