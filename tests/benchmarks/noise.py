"""How long it takes to whiten a long pass and a thousand short ones.

    python tests/benchmarks/noise.py --json

The full budget, with an elevation for each leg, over regular counts of 60 s; 20 columns are
whitened. Times are wall-clock, the best of several; beside them the processor's time, the
arithmetic of the Cholesky decomposition alone, and the time of a dense evaluation that
computes every kernel at every pair of points.
"""

from __future__ import annotations

import json
import resource
import time
from collections.abc import Callable
from unittest import mock

import click
import numpy as np
from scipy.linalg import lapack

from wobble.noise import path_covariance
from wobble.noise.budget import standard_budget
from wobble.noise.geometry import PassGeometry

COLUMNS = 20
SAMPLES = 4000
SHORT = 60
PASSES = 1000
NAIVE_SAMPLES = 1000


def a_pass(n: int, number: int = 0) -> PassGeometry:
    """Passes differ in elevation, distance and round trip, as they do from day to day."""
    rise = np.linspace(0.3, 0.9, n) + 1e-4 * number
    return PassGeometry(
        30.0 + 60.0 * np.arange(n),
        60.0,
        "range_rate",
        rise,
        1.0,
        1703.0 + 0.37 * number,
        2.5e11,
        transmit_elevation=rise - 0.1,
    )


def best(work: Callable[[], object], repetitions: int) -> tuple[float, float]:
    """Least wall-clock and least processor time, s."""
    wall, processor = [], []
    for _ in range(repetitions):
        begin, used = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - begin)
        processor.append(time.process_time() - used)
    return min(wall), min(processor)


@click.command()
@click.option("--repetitions", default=5, show_default=True)
@click.option("--json", "as_json", is_flag=True)
def main(repetitions: int, as_json: bool) -> None:
    """Seconds to whiten a pass of 4,000 samples and a thousand passes of 60."""
    budget, rng = standard_budget(), np.random.default_rng(1)
    rows, short_rows = rng.standard_normal((SAMPLES, COLUMNS)), rng.standard_normal((SHORT, 20))

    def long_pass() -> None:
        budget.factor(a_pass(SAMPLES)).whiten(rows)

    def short_passes() -> None:
        passes = [a_pass(SHORT, number) for number in range(PASSES)]
        for _, factor in budget.factors(passes):
            factor.whiten(short_rows)

    long_wall, long_processor = best(long_pass, repetitions)
    short_wall, short_processor = best(short_passes, repetitions)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    matrix = budget.covariance(a_pass(SAMPLES))
    upper = np.asfortranarray(matrix)
    cholesky, _ = best(lambda: lapack.dpotrf(upper, clean=0), repetitions)
    middle = a_pass(NAIVE_SAMPLES)
    quick, _ = best(lambda: budget.covariance(middle), repetitions)
    with mock.patch.object(path_covariance, "LARGEST_TABLE", 0.0):
        naive, _ = best(lambda: budget.covariance(middle), 1)
    content = {
        "samples": SAMPLES,
        "seconds_4000": round(long_wall, 3),
        "processor_seconds_4000": round(long_processor, 3),
        "seconds_cholesky_alone": round(cholesky, 3),
        "seconds_thousand_passes": round(short_wall, 3),
        "processor_seconds_thousand_passes": round(short_processor, 3),
        "covariance_faster_than_dense": round(naive / quick, 1),
        "peak_memory_mb": round(memory, 1),
    }
    if as_json:
        click.echo(json.dumps(content))
        return
    for name, value in content.items():
        click.echo(f"{name.replace('_', ' '):36s}{value:>10}")


if __name__ == "__main__":
    main()
