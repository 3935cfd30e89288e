"""How long a planet's nutation takes: sixty years of Mars, axis and series.

    python tests/benchmarks/nutation.py [--json]

Seconds, the best of seven: the torque along the ephemeris and the integration (twice, for the
mean orientation to come out as given) with the fit of the series; the same with satellites;
the budget of the precession by body; amplification by a core with derivatives; and a whole
ready-made body with relativity. ``cpu`` is processor time, ``wall`` the clock's.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import replace

from wobble.constants import DAY, JULIAN_YEAR
from wobble.ephemeris import open_ephemeris
from wobble.files.body_file import read_body, read_nutation_setup
from wobble.planet.liquid_core import LiquidCore

HALF_SPAN = 30.0 * JULIAN_YEAR
REPEATS = 7


def seconds(work: Callable[[], object]) -> dict[str, float]:
    """Best processor and wall time of a piece of work."""
    cpu, wall = [], []
    for _ in range(REPEATS):
        begin = time.process_time(), time.perf_counter()
        work()
        cpu.append(time.process_time() - begin[0])
        wall.append(time.perf_counter() - begin[1])
    return {"cpu": round(min(cpu), 4), "wall": round(min(wall), 4)}


def measure() -> dict[str, dict[str, float]]:
    open_ephemeris()  # reading the kernel is not part of it
    setup = replace(read_nutation_setup("mars"), start=-HALF_SPAN, stop=HALF_SPAN)
    alone = replace(setup, satellites=())
    computed, core = setup.compute(), LiquidCore(0.061, -242.3 * DAY)

    def amplify() -> None:
        core.amplify(computed.series)
        core.amplify_by_factor(computed.series)
        core.amplify_by_period(computed.series)

    return {
        "axis and series, 60 years": seconds(alone.compute),
        "axis and series with satellites, 60 years": seconds(setup.compute),
        "budget of the precession": seconds(computed.budget),
        "core and its derivatives": seconds(amplify),
        "body mars_computed, 80 years": seconds(lambda: read_body("mars_computed")),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    as_json = parser.parse_args().json
    found = measure()
    if as_json:
        print(json.dumps(found, indent=1))
        return
    for name, times in found.items():
        print(f"{name:<46}{times['cpu']:8.3f} s cpu {times['wall']:8.3f} s wall")


if __name__ == "__main__":
    main()
