"""The benchmark of the selection: what it prints, and whether its partials are right."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np

BENCHMARK = Path(__file__).parents[1] / "benchmarks" / "campaign.py"


def test_benchmark_prints_its_certificate_as_json():
    command = [sys.executable, str(BENCHMARK), "--json", "--candidates", "150", "--chosen", "40"]
    printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    result = json.loads(printed)
    assert {k: result[k] for k in ("candidates", "chosen", "parameters")} == {
        "candidates": 150,
        "chosen": 40,
        "parameters": 60,
    }
    assert 0 <= result["gap"] < 0.02
    assert result["selection_seconds"] > 0
    assert result["peak_memory_mb"] > 10


def test_partial_derivatives_of_the_benchmark_are_those_of_its_range():
    # Node, tilt and spin turned by a microradian, and the range differenced.
    spec = importlib.util.spec_from_file_location("campaign_benchmark", BENCHMARK)
    benchmark = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(benchmark)
    t = np.linspace(0.0, 3e6, 7)
    partials = benchmark.range_partials(t, np.zeros(7, int))
    names = benchmark.parameters()[0]
    line = benchmark.to_earth(t)
    lander = benchmark.on_planet(t, benchmark.PLANET_RADIUS * benchmark.unit(*benchmark.LANDER))
    turns = {"pole.node": benchmark.about_z, "pole.obliquity": benchmark.about_x}
    for name, turn in turns.items():
        nearer = ((turn(1e-6, lander) - turn(-1e-6, lander)) * line).sum(axis=0) / 2e-6
        found = partials[names.index(name)]
        np.testing.assert_allclose(found, -nearer, rtol=1e-6, atol=1.0)
    years = (t - benchmark.SPAN / 2) / benchmark.EARTH_YEAR
    later = benchmark.on_planet(
        t + 1e-3, benchmark.PLANET_RADIUS * benchmark.unit(*benchmark.LANDER)
    )
    per_radian = ((later - lander) * line).sum(axis=0) * benchmark.PLANET_TURN / (2e-3 * np.pi)
    np.testing.assert_allclose(
        partials[names.index("spin.rate")], -per_radian * years, rtol=1e-4, atol=5.0
    )
