"""Range and range rate against an independent formulation, and derivatives against differences."""

import astropy.units as u
import moyer_range
import numpy as np
import pytest
import scene

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.delays import GravitationalDelay
from wobble.link.observables import Link

J2000 = 2451545.0


def epochs_of(t, scale):
    return Epochs.of((t[0] - J2000) * 86400.0, t[1] * 86400.0, scale)


def test_range_agrees_with_an_independent_implementation_to_a_millimetre():
    # Moyer 2000; ten stations, ten epochs, the Sun's delay, the tides and the daily Earth
    # orientation given, everything else written anew (moyer_range.py).
    near, mars = scene.near_earth(), scene.mars()
    values = mars.orientation.values
    independent_mars = moyer_range.Mars(
        {n: v for n, v in values.items() if "polar" in n or n == "spin.acceleration"}
    )
    lander = scene.lander()

    def fixed(t):
        tide = mars.tidal_displacement(
            lander.lander.position, lander.ephemeris, epochs_of(t, "tdb")
        )
        return lander.lander.position + tide[0]

    def orientation(t):
        epochs = epochs_of(t, "tt")
        x, y, _ = near.orientation.celestial_pole.value(epochs)[0]
        theory = moyer_range.erfa.xys06a(*t)
        return (*near.orientation.spin_and_pole.value(epochs)[0], x - theory[0], y - theory[1])

    generator = np.random.default_rng(5)
    tags = scene.later(generator.uniform(1.0, scene.DAYS - 1.0, 10))
    differences = []
    for k, tag in enumerate(tags):
        longitude, latitude = generator.uniform(-180, 180), generator.uniform(-70, 70)
        station = scene.station_at(f"place {k}", longitude, latitude)

        def itrf(t, station=station):
            epochs = epochs_of(t, "tt")
            return (station.station.itrf(epochs) + station.tides.value(epochs))[0]

        link = Link(station, lander, station, [GravitationalDelay(lander.ephemeris, ["sun"])])
        ours = link.range(tag.reshape(1)).value[0]
        theirs = moyer_range.two_way_range(tag, itrf, orientation, independent_mars, fixed)
        differences.append(ours - theirs)
    print(np.array(differences) * 1e3)
    assert np.abs(differences).max() < 1e-3
