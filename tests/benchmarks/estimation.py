"""How long one iteration of a fit takes, and how much memory, against the size of the campaign.

    python tests/benchmarks/estimation.py [--json] [--quick]

Passes of 125 contiguous counts of 60 s and one range, to two landers from six stations; 60
parameters of the whole campaign and two biases of each pass. Three sizes, up to 2,000 passes
(two with ``--quick``), each in a process of its own. Timed is one iteration: observables,
partial derivatives, whitening by the noise budget with all its correlations, elimination of
the biases, factorisation and solution. The peak memory is that of the whole process: the
interpreter with its libraries, the ephemeris, the measurements and the iteration.

``--json`` prints one object with lists over the sizes.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import pickle
import resource
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.time import Time

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import ScheduleRule
from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.earth.stations import Station
from wobble.estimation.linearisation import Linearisation, NoiseWeights
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.tracking_model import TrackingModel
from wobble.link.parameter_values import parameter_values
from wobble.measurements.tracking import Tracking
from wobble.planet.lander import Lander
from wobble.planet.parameter_units import unit_of
from wobble.scenario.reader import read_scenario

DEMONSTRATION = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"
SIZES = (500, 1000, 2000)
BEGIN, DAYS = Time("2019-01-01", scale="utc"), 1150
RULE = ScheduleRule(15, 125 * 60.0, count_time=60.0, range_interval=3 * 3600.0, rest=0.8 * DAY)
ESTIMATED = (
    *("pole.*", "core.*", "spin.*", "polar_motion.*", "lander.*.[xyz]", "station.*.[xyz]"),
    *("station.*.range_bias", "ephemeris.*", "ionosphere.content"),
)
FIXED = ("spin.angle", "polar_motion.chandler_period")
A_PRIORI = {
    "m": 1e3,
    "rad": 1e3 * MAS,
    "rad / s": 1e3 * MAS / JULIAN_YEAR,
    "rad / s2": 1e3 * MAS / JULIAN_YEAR**2,
    "s": 10 * DAY,
    "1 / m2": 1e17,
    "": 0.1,
}
"""Standard deviations by SI unit."""


def campaign() -> Campaign:
    """The demonstration's link, budget and biases with six stations and two landers."""
    demonstration = read_scenario(DEMONSTRATION)
    further = [
        replace(station, name=f"{station.name}_east", position=_turned(station, 60.0))
        for station in demonstration.stations
    ]
    stations = (*demonstration.stations, *further)
    landers = (
        *(replace(lander, antennas=()) for lander in demonstration.landers),
        Lander.geodetic("ibis", demonstration.body, np.radians(-39.0), np.radians(22.0), -3000.0),
    )
    values = parameter_values(demonstration.body, stations, landers, demonstration.media)
    values |= {f"station.{s.name}.range_bias": 0.0 for s in stations}
    parameters = ParameterSet(
        Parameter(n, unit_of(n).user, v, A_PRIORI[unit_of(n).si], "fixed")
        for n, v in values.items()
    )
    parameters = parameters.with_status(ESTIMATED, "estimated").with_status(FIXED, "fixed")
    return replace(
        demonstration,
        stations=stations,
        landers=landers,
        parameters=parameters,
        span=(BEGIN, BEGIN + DAYS * u.day),
        rule=RULE,
    )


def _turned(station: Station, degrees: float) -> np.ndarray:
    """The station's place, farther east."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ station.position


def measurements() -> Tracking:
    """Time tags of the largest campaign; the values are those of the model."""
    planned = campaign()
    passes = planned.schedule(planned.view_periods())
    tags = passes.tags(RULE, planned.frequency)
    names = [name for name, _ in tags.passes()][: max(SIZES)]
    if len(names) < max(SIZES):
        raise SystemExit(f"only {len(names)} passes")
    tags = tags[np.isin(tags.pass_id, names)]
    # A file's reader makes columns no wider than their texts; those of a plan are.
    narrow = {c: getattr(tags, c).tolist() for c in ("transmitter", "receiver", "lander")}
    return replace(tags, **narrow)


def run(path: Path) -> dict[str, float]:
    """One iteration with the measurements of a file."""
    with path.open("rb") as file:
        tracking: Tracking = pickle.load(file)
    scene = campaign()
    model = TrackingModel(
        scene.network(tracking), tracking, scene.parameters, scene.biases, scene.budget
    )
    begin, worked = time.perf_counter(), time.process_time()
    with Linearisation(model, scene.parameters, scene.parameters.estimated.values) as linearisation:
        made = time.perf_counter()
        n = len(linearisation)
        information, factors = linearisation.information(NoiseWeights(np.ones(n, bool), np.ones(n)))
        linearisation.solve(information)
        end = time.perf_counter()
    return {
        "samples": n,
        "passes": len(factors),
        "parameters": len(information.names),
        "local_parameters": sum(len(factor.names) for factor in factors),
        "seconds_per_iteration": round(end - begin, 2),
        "processor_seconds": round(time.process_time() - worked, 2),
        "seconds_observables": round(made - begin, 2),
        "seconds_whitening_and_factorisation": round(end - made, 2),
        "peak_memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3, 1),
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--quick", action="store_true", help="leave the largest size out")
    arguments = parser.parse_args()
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawn) as process:
        tracking = process.submit(measurements).result()
    runs = []
    with tempfile.TemporaryDirectory() as folder:
        for passes in SIZES[:-1] if arguments.quick else SIZES:
            names = [name for name, _ in tracking.passes()][:passes]
            path = Path(folder) / f"{passes}.pickle"
            path.write_bytes(pickle.dumps(tracking[np.isin(tracking.pass_id, names)]))
            with ProcessPoolExecutor(1, mp_context=spawn) as process:  # memory of this size alone
                runs.append(process.submit(run, path).result())
    result: dict[str, Any] = {key: [one[key] for one in runs] for key in runs[0]}
    if arguments.json:
        print(json.dumps(result | {"processors": os.cpu_count() or 1}))
        return
    for key, values in result.items():
        print(f"{key.replace('_', ' '):38s}" + "".join(f"{value:>12,}" for value in values))


if __name__ == "__main__":
    main()
