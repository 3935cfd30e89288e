"""Geometry for figures against astropy's own coordinate frames."""

from __future__ import annotations

from dataclasses import replace

import astropy.units as u
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, HADec, get_body, get_sun
from astropy.utils import iers
from conftest import Rehearsal

from wobble.earth.stations import hour_angle
from wobble.errors import InputError
from wobble.report.geometry import (
    Coverage,
    SampleGeometry,
    coverage_of,
    link_conditions,
    network_of,
    sample_order,
)


@pytest.fixture(scope="module")
def geometry(rehearsal: Rehearsal) -> SampleGeometry:
    network = network_of(rehearsal.campaign, rehearsal.tracking)
    return SampleGeometry.of(network, rehearsal.tracking)


def test_elevation_and_hour_angle_are_those_of_astropy(
    rehearsal: Rehearsal, geometry: SampleGeometry
) -> None:
    # astropy's AltAz and HADec frames with its built-in ephemeris of Mars; aberration and the
    # simpler ephemeris make 0.01 degree.
    tracking = rehearsal.tracking
    some = np.arange(0, len(tracking), 23)
    for station in rehearsal.campaign.stations:
        rows = some[tracking.receiver[some] == station.name]
        place = EarthLocation.from_geocentric(*station.position, unit="m")
        time = tracking.epoch[rows]
        with iers.conf.set_temp("auto_download", False):
            mars = get_body("mars", time, place)
            altitude = mars.transform_to(AltAz(obstime=time, location=place)).alt
            angle = mars.transform_to(HADec(obstime=time, location=place)).ha
        assert np.degrees(geometry.elevation[rows]) == pytest.approx(altitude.deg, abs=0.02)
        assert np.degrees(geometry.hour_angle[rows]) == pytest.approx(
            angle.wrap_at(180 * u.deg).deg, abs=0.02
        )


def test_hour_angle_grows_westward_from_the_meridian() -> None:
    # South, west, east and north of a northern station.
    azimuth = np.radians([180.0, 270.0, 90.0, 0.0])
    angle = hour_angle(np.radians(40.0), azimuth, np.radians([30.0, 0.0, 0.0, 10.0]))
    assert np.degrees(angle[:3]) == pytest.approx([0.0, 90.0, -90.0], abs=1e-9)
    assert abs(np.degrees(angle[3])) == pytest.approx(180.0)  # below the pole


def test_coverage_is_that_of_astropy(rehearsal: Rehearsal) -> None:
    track = Coverage.of(rehearsal.campaign, rehearsal.passes)
    with iers.conf.set_temp("auto_download", False):
        mars, sun = get_body("mars", track.date), get_sun(track.date)
        angle = mars.separation(sun.transform_to(mars.frame))
    assert np.degrees(track.sun_angle) == pytest.approx(angle.deg, abs=0.02)
    assert track.distance == pytest.approx(mars.distance.to_value("m"), rel=1e-4)


def test_coverage_of_measurements_begins_each_pass_where_they_do(rehearsal: Rehearsal) -> None:
    track = coverage_of(rehearsal.campaign, None, rehearsal.tracking)
    assert track is not None
    late = (track.pass_date - rehearsal.passes.start).to_value("s")
    # The first range stands at the begin of a pass.
    assert np.abs(late).max() < 1e-3
    assert track.pass_station.tolist() == rehearsal.passes.station.tolist()
    assert coverage_of(rehearsal.campaign, None, None) is None


def test_budget_conditions_are_those_of_the_median_pass(rehearsal: Rehearsal) -> None:
    track = Coverage.of(rehearsal.campaign, rehearsal.passes)
    conditions = link_conditions(rehearsal.campaign, track)
    assert conditions.count_time == 60.0
    assert track.pass_distance.min() <= conditions.distance <= track.pass_distance.max()
    assert track.pass_sun_angle.min() <= conditions.sun_angle <= track.pass_sun_angle.max()


def test_samples_find_their_measurements(rehearsal: Rehearsal) -> None:
    shuffled = rehearsal.tracking[np.random.default_rng(1).permutation(len(rehearsal.tracking))]
    samples = rehearsal.solution.samples
    order = sample_order(samples, rehearsal.tracking)
    assert rehearsal.tracking.epoch[order].isot.tolist() == samples.epoch.tolist()
    with pytest.raises(InputError, match="was not made from these measurements"):
        sample_order(samples, shuffled)
    with pytest.raises(InputError, match="was not made from these measurements"):
        sample_order(samples, rehearsal.tracking[:-1])


def test_measurements_outside_the_plan_get_a_network_of_their_own(rehearsal: Rehearsal) -> None:
    campaign = rehearsal.campaign
    assert network_of(campaign, rehearsal.tracking) is campaign.plan_network
    unplanned = replace(campaign, span=None)
    network = network_of(unplanned, rehearsal.tracking[:5])
    assert network.stations.keys() == campaign.plan_network.stations.keys()
