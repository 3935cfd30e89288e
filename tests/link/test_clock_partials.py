"""Derivatives by the offsets of stations' clocks against central differences.

An offset moves the time tags. Steps of 10 s and five points: what the fourth power of the
step leaves is 1e-14 of the derivative as the Earth turns; range rates are good to 1e-11 m/s
and ranges to 1e-4 m, which makes 1e-10 and 1e-9 of it.
"""

import astropy.units as u
import numpy as np
import pytest
import scene
from astropy.time import Time
from differences import central_difference, full_link, rms

from wobble.constants import SPEED_OF_LIGHT

STEP = 10.0
TOLERANCE = 1e-8
PLACES = ("plateau", "shore")


@pytest.fixture(scope="module")
def tags():
    return scene.visible_tags(20, seed=3)


def contiguous(tags, count):
    """Three counts, one after the other, around each tag."""
    seconds = (count * np.array([-1.0, 0.0, 1.0])) * u.s
    return Time([tag + later for tag in tags[:6] for later in seconds])


def errors(observable, name):
    """rms error of a derivative by a clock's offset, and rms of what the differences give."""
    computed = observable(0.0).partials([name])[name]
    expected = central_difference(lambda step: observable(step).value, STEP)
    return rms(computed - expected), rms(expected)


@pytest.mark.parametrize("count", [1.0, 60.0, 1000.0])
@pytest.mark.parametrize("follow", [False, True], ids=["scattered", "contiguous"])
@pytest.mark.parametrize("transmitter", PLACES)
def test_of_the_range_rate_by_the_receivers_clock(tags, transmitter, follow, count):
    ends = {"plateau": scene.station(), "shore": scene.shore()}
    tags = contiguous(tags, count) if follow else tags
    name = "station.plateau.clock_offset"

    def observable(step):
        link = full_link(
            len(tags), ends[transmitter], ends["plateau"], lander=scene.lander(), **{name: step}
        )
        return link.range_rate(tags, count)

    error, size = errors(observable, name)
    assert size > 1e-2
    assert error < TOLERANCE * size


def test_of_the_range_rate_by_the_transmitters_clock_there_is_none(tags):
    name = "station.shore.clock_offset"

    def observable(step):
        ends = scene.shore(), scene.station()
        return full_link(len(tags), *ends, lander=scene.lander(), **{name: step}).range_rate(
            tags, 60.0
        )

    assert errors(observable, name) == (0.0, 0.0)


@pytest.mark.parametrize("at_reception", [True, False])
def test_of_the_two_way_range(tags, at_reception):
    name = "station.plateau.clock_offset"

    def observable(step):
        ends = scene.station(), scene.station()
        link = full_link(len(tags), *ends, lander=scene.lander(), **{name: step})
        return link.range(tags, at_reception=at_reception)

    error, size = errors(observable, name)
    assert size > 1e3
    assert error < TOLERANCE * size


@pytest.mark.parametrize("at_reception", [True, False])
def test_of_the_three_way_range_by_either_clock(tags, at_reception):
    moved = {}
    for place, sense in (("plateau", -1.0), ("shore", 1.0)):
        name = f"station.{place}.clock_offset"

        def observable(step, name=name):
            ends = scene.station(), scene.shore()
            link = full_link(len(tags), *ends, lander=scene.lander(), **{name: step})
            return link.range(tags, at_reception=at_reception)

        # The interval between the clocks, far larger than what the moved tag does: apart.
        between = sense * SPEED_OF_LIGHT / 2.0
        computed = observable(0.0).partials([name])[name] - between
        expected = central_difference(lambda s: observable(s).value, STEP) - between
        moved[place] = rms(computed - expected), rms(expected)
    tagging, other = ("shore", "plateau") if at_reception else ("plateau", "shore")
    assert moved[tagging][1] > 1e3
    assert moved[tagging][0] < TOLERANCE * moved[tagging][1]
    assert max(moved[other]) < 1e-4


def test_a_clock_costs_nothing_where_it_is_not_asked_for(tags, monkeypatch):
    link = full_link(len(tags), scene.station(), scene.station(), lander=scene.lander())
    computed = link.range(tags), link.range_rate(tags, 60.0)

    def refuse(*_, **__):
        raise AssertionError("paths are solved again")

    monkeypatch.setattr(type(link), "solve", refuse)
    for one in computed:
        assert set(one.partials(["lander.ridge.x"])) == {"lander.ridge.x"}
        with pytest.raises(AssertionError, match="solved again"):
            one.partials(["station.plateau.clock_offset"])
