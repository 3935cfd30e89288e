"""How long the best passes of thousands take to find, and how good they are.

    python tests/benchmarks/campaign.py --json

Candidates are passes of 45 minutes of two-way Doppler (60 s counts, white noise of 0.1 mm/s,
a bias of its own each) from three stations to a lander on a planet like Mars, wherever both
ends see each other within two of its years. Sixty parameters: lander, pole offset and rate
and its seasonal nutations, seasonal spin, polar motion, stations, tropospheres. Orbits are
circles, which is of no consequence here: what counts is that partial derivatives are trends
and seasons times cosines of the hour angles. Chosen are the passes that make the precession
rate most precise.
"""

from __future__ import annotations

import os

# Matrices of 60 by 60 are too small for threads to pay.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import resource
import time

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.candidates import CandidatePasses, compress
from wobble.campaign.limits import PassBudget
from wobble.campaign.selection import Selection, select_passes
from wobble.campaign.targets import LinearTarget

Array = NDArray[np.float64]

DAY = 86_400.0
MAS = np.pi / 180 / 3.6e6
PLANET_YEAR = 686.98 * DAY
EARTH_YEAR = 365.25 * DAY
PLANET_TURN = 1.025957 * DAY
EARTH_TURN = 86_164.1
OBLIQUITY = np.radians(25.2)
EARTH_OBLIQUITY = np.radians(23.4)
WOBBLE_PERIOD = 207 * DAY
PLANET_RADIUS = 3.396e6
LANDER = np.radians([4.5, 135.9])
STATIONS = {"west": (35.4, -116.9), "east": (40.4, -4.2), "south": (-35.4, 149.0)}
HORIZON = np.sin(np.radians(10.0))
COUNTS, COUNT_TIME, NOISE = 45, 60.0, 1e-4
SPAN = 2 * PLANET_YEAR


def about_x(angle: float | Array, v: Array) -> Array:
    """Vectors, shape (3, ...), turned about the x axis."""
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([v[0] + 0 * c, c * v[1] - s * v[2], s * v[1] + c * v[2]])


def about_z(angle: float | Array, v: Array) -> Array:
    """Vectors, shape (3, ...), turned about the z axis."""
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([c * v[0] - s * v[1], s * v[0] + c * v[1], v[2] + 0 * c])


def on_planet(t: Array, v: Array) -> Array:
    """A body-fixed vector in the frame of the orbits, shape (3, ...)."""
    return about_x(OBLIQUITY, about_z(2 * np.pi * t / PLANET_TURN, v))


def on_earth(t: Array, v: Array) -> Array:
    """The same of a vector fixed to the Earth."""
    return about_x(-EARTH_OBLIQUITY, about_z(2 * np.pi * t / EARTH_TURN, v))


def unit(latitude: float, longitude: float) -> Array:
    """Unit vector of a place."""
    flat = np.cos(latitude)
    return np.array([flat * np.cos(longitude), flat * np.sin(longitude), np.sin(latitude)])


def to_earth(t: Array) -> Array:
    """Unit vector from the planet to the Earth, shape (3, ...)."""
    planet, earth = 2 * np.pi * t / PLANET_YEAR, 2 * np.pi * t / EARTH_YEAR + 1.3
    zero = 0.0 * t
    line = np.stack([np.cos(earth), np.sin(earth), zero])
    line = line - 1.524 * about_x(
        np.radians(1.85), np.stack([np.cos(planet), np.sin(planet), zero])
    )
    return np.asarray(line / np.linalg.norm(line, axis=0), float)


def sines_of_elevation(t: Array) -> tuple[Array, Array]:
    """At the lander, shape (...), and at each station, shape (3, ...)."""
    line = to_earth(t)
    lander = (on_planet(t, unit(*LANDER)) * line).sum(axis=0)
    places = [unit(*np.radians(place)) for place in STATIONS.values()]
    stations = np.stack([-(on_earth(t, place) * line).sum(axis=0) for place in places])
    return lander, stations


def range_partials(t: Array, station: NDArray[np.int_]) -> Array:
    """Of the range with respect to the 60 parameters, shape (60, ...), m per SI unit."""
    line = to_earth(t)
    lander = on_planet(t, PLANET_RADIUS * unit(*LANDER))

    def turned(axis: Array) -> Array:
        return -(np.cross(np.broadcast_to(axis, lander.shape), lander, axis=0) * line).sum(axis=0)

    x, y, z = np.eye(3)
    fixed = np.ones(t.shape)
    node, tilt = turned(np.multiply.outer(z, fixed)), turned(np.multiply.outer(x, fixed))
    spin, polar_x, polar_y = (turned(on_planet(t, axis)) for axis in (z, y, x))
    years = (t - SPAN / 2) / EARTH_YEAR
    seasons = [f(k * 2 * np.pi * t / PLANET_YEAR) for k in (1, 2, 3, 4) for f in (np.cos, np.sin)]
    wobble = [f(2 * np.pi * t / WOBBLE_PERIOD) for f in (np.cos, np.sin)]
    columns = [node * f for f in (fixed, years, *seasons)]
    columns += [tilt * f for f in (fixed, years, *seasons)]
    columns += [spin * f for f in (years, *seasons)]
    columns += [polar * f for polar in (polar_x, polar_y) for f in (*seasons[:6], *wobble)]
    columns += [-(on_planet(t, axis) * line).sum(axis=0) for axis in (x, y, z)]
    _, up = sines_of_elevation(t)
    here = [station == k for k in range(len(STATIONS))]
    columns += [(on_earth(t, axis) * line).sum(axis=0) * h for h in here for axis in (x, y, z)]
    columns += [2 / np.maximum(sine, HORIZON) * h for sine, h in zip(up, here, strict=True)]
    return np.stack(columns)


def parameters() -> tuple[tuple[str, ...], Array]:
    """Names and a priori standard deviations, SI."""
    seasons = [f"{k}_{f}" for k in ("annual", "half", "third", "quarter") for f in ("cos", "sin")]
    names = [f"pole.{part}" for part in ("node", "precession_rate")]
    names += [f"nutation.node_{season}" for season in seasons]
    names += [f"pole.{part}" for part in ("obliquity", "obliquity_rate")]
    names += [f"nutation.obliquity_{season}" for season in seasons]
    names += ["spin.rate", *(f"spin.{season}" for season in seasons)]
    polar = [*seasons[:6], "free_cos", "free_sin"]
    names += [f"polar_motion.{axis}_{term}" for axis in "xy" for term in polar]
    rotation = len(names)
    names += [f"lander.{axis}" for axis in "xyz"]
    names += [f"station.{name}.{axis}" for name in STATIONS for axis in "xyz"]
    names += [f"troposphere.{name}" for name in STATIONS]
    sigma = np.concatenate([np.full(rotation, 1e3 * MAS), [1e3] * 3, [0.02] * 9, [0.01] * 3])
    return tuple(names), sigma


def candidate_passes(count: int, rng: np.random.Generator) -> CandidatePasses:
    """Passes at random among all quarters of an hour at which both ends see each other."""
    grid = np.arange(0.0, SPAN, 900.0)
    lander, stations = sines_of_elevation(grid)
    station, place = np.nonzero((lander > HORIZON) & (stations > HORIZON))
    drawn = np.sort(rng.choice(len(place), count, replace=False))
    drawn = drawn[np.argsort(place[drawn], kind="stable")]
    station, start = station[drawn], grid[place[drawn]]
    names, sigma = parameters()
    blocks: list[Array] = []
    for some in np.array_split(np.arange(count), max(1, count // 200)):
        edges = start[some, None] + COUNT_TIME * np.arange(COUNTS + 1)
        ranges = range_partials(edges, np.broadcast_to(station[some, None], edges.shape))
        rates = np.diff(ranges).transpose(1, 2, 0) / COUNT_TIME / NOISE
        # The bias of a pass with equal weights is eliminated by taking off the mean.
        blocks += [compress(rows) for rows in rates - rates.mean(axis=1, keepdims=True)]
    return CandidatePasses(
        parameters=names,
        blocks=tuple(blocks),
        a_priori=np.diag(1 / sigma),
        station=np.array(list(STATIONS))[station],
        start=start,
        hours=np.full(count, COUNTS * COUNT_TIME / 3600),
    )


def measure(count: int, chosen: int) -> tuple[Selection, float]:
    """Selection and the time that it took, s."""
    candidates = candidate_passes(count, np.random.default_rng(20))
    target = LinearTarget.parameter(candidates, "pole.precession_rate")
    begin = time.perf_counter()
    selection = select_passes(candidates, target, PassBudget(passes=chosen))
    return selection, time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="time the selection of the best passes")
    parser.add_argument("--candidates", type=int, default=5000)
    parser.add_argument("--chosen", type=int, default=200)
    parser.add_argument("--json", action="store_true", help="print one JSON object only")
    arguments = parser.parse_args()
    selection, seconds = measure(arguments.candidates, arguments.chosen)
    if not arguments.json:
        print(selection)
        print(f"found in {seconds:.2f} s")
        return
    result = {
        "candidates": len(selection.candidates),
        "chosen": len(selection.chosen),
        "parameters": len(selection.candidates.parameters),
        "selection_seconds": round(seconds, 3),
        "gap": round(selection.gap, 6),
        "peak_memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
