"""The rotation of Mars from measured ranges, and how far it can be believed.

``python tests/benchmarks/mars_rotation.py --draws 40``: levels of noise that the ranges ask for;
the rotation beside what others have published; the same without each year, station and lander; and
a parametric bootstrap: ranges drawn from the learnt noise about the fitted rotation, fitted again.
Scatter over reported sigma should be one.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import wobble
from wobble.campaign.campaign import Campaign
from wobble.estimation.solution import Solution
from wobble.estimation.tracking_model import pass_geometry
from wobble.link.network import ComputedTracking
from wobble.measurements.tracking import Tracking

SCENARIO = Path(__file__).parents[1] / "data" / "mars_ranges" / "scenario.toml"
PUBLISHED = {
    "pole.node_longitude": (81.9684, 3e-6),
    "pole.precession_rate": (-7608.3, 2.1),
    "pole.obliquity": (25.18938, 3e-6),
    "spin.rate": (350.891985307, 1e-9),
}
"""Konopliv et al. 2016, Icarus 274, 253."""
THE_SAME_DATA = {"pole.precession_rate": (-7830.0, 150.0), "pole.obliquity": (25.1894, 1e-4)}
"""Yoder & Standish 1997, J. Geophys. Res. 102, 4065, one sigma."""


def drawn(
    campaign: Campaign, computed: ComputedTracking, ranges: Tracking, rng: np.random.Generator
) -> Tracking:
    """Ranges about computed ones with the noise of the campaign's budget."""
    assert campaign.budget is not None
    value = computed.value.copy()
    for _, rows in ranges.passes():
        geometry = pass_geometry(ranges, computed, rows)
        value[rows] += campaign.budget.draw(geometry, rng)
    return replace(ranges, value=value)


def line(label: str, solution: Solution) -> str:
    parts = []
    for name, (value, sigma) in PUBLISHED.items():
        one = solution[name]
        parts.append(f"{(one.value - value) / np.hypot(one.sigma, sigma):+6.2f}")
    rate = solution["pole.precession_rate"]
    return f"{label:28s} {rate.value:9.0f} +- {rate.sigma:4.0f} " + " ".join(parts)


def subsets(ranges: Tracking) -> dict[str, NDArray[np.bool_]]:
    year = ranges.epoch.isot.astype("U4")
    found = {f"without {y}": year != y for y in np.unique(year)}
    found |= {f"without {s}": ranges.receiver != s for s in np.unique(ranges.receiver)}
    return found | {f"without {name}": ranges.lander != name for name in np.unique(ranges.lander)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=40)
    draws = parser.parse_args().draws
    campaign = wobble.read_scenario(SCENARIO)
    ranges, _ = wobble.read_tracking(campaign.data_files, campaign)
    learnt = campaign.learn_noise(ranges)
    print("factors on the scenario's levels of noise:")
    print(learnt.table())
    z = learnt.normalised
    print(f"normalised residuals: {z.std():.3f} rms, {(np.abs(z) > 3).mean():.1%} beyond three")
    solution = campaign.fit(ranges)
    for name in PUBLISHED:
        print(solution[name])
    for name, (value, sigma) in THE_SAME_DATA.items():
        one = solution[name]
        off = (one.value - value) / np.hypot(one.sigma, sigma)
        print(f"{name}: {off:+.2f} sigmas from Yoder & Standish 1997")
    print("sigmas from Konopliv et al. 2016:".ljust(46), *(n.split(".")[1][:6] for n in PUBLISHED))
    print(line("all", solution))
    for label, mask in subsets(ranges).items():
        part = ranges[mask]
        gone = [x.name for x in campaign.landers if x.name not in part.lander]
        some = campaign.without([f"lander.{name}.*" for name in gone]) if gone else campaign
        print(line(label, some.fit(part)))
    truth = {name: float(v) for name, v in zip(solution.names, solution.values, strict=True)}
    computed = campaign.network(ranges).with_values(truth).compute(ranges)
    errors = []
    for seed in range(draws):
        found = campaign.fit(drawn(campaign, computed, ranges, np.random.default_rng(seed)))
        errors.append((found.values - solution.values) / found.sigma_realistic)
    scatter = np.std(errors, axis=0)
    print(f"bootstrap of {draws}: scatter over reported sigma")
    for name, ratio in zip(solution.names, scatter, strict=True):
        print(f"  {name:36s} {ratio:.2f}")


if __name__ == "__main__":
    main()
