"""Invented observation models for the tests of the estimator, linear and not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.apriori import Apriori, Condition
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.solution import Solution

Array = NDArray[np.float64]


@dataclass
class TablePasses:
    """A linear model: rows that are given, residuals that follow the values."""

    passes: list[PassEquations]
    reference: Array
    calls: int = field(default=0)

    def equations(self, values: Array) -> Iterator[PassEquations]:
        self.calls += 1
        for one in self.passes:
            yield replace(one, residual=one.residual - one.partials @ (values - self.reference))


def epochs(first: int, count: int) -> NDArray[np.str_]:
    start = np.datetime64("2031-01-01T00:00:00") + np.timedelta64(first, "D")
    return np.datetime_as_string(start + np.arange(count) * np.timedelta64(60, "s"))


def seasonal_pass(
    rng: np.random.Generator, number: int, doppler: int = 40, ranges: int = 6, considered: int = 0
) -> PassEquations:
    """Range and range rate that see six slowly changing parameters and two biases."""
    day = 5.0 * number
    n = doppler + ranges
    hour = np.concatenate([np.linspace(-0.4, 0.4, doppler), np.linspace(-0.35, 0.35, ranges)])
    is_range = np.arange(n) >= doppler
    year = 2 * np.pi * day / 687.0
    phase = 2 * np.pi * (hour / 24.6 * 24 + 0.37 * number)
    columns = [np.cos(phase), np.sin(phase), np.sin(year) * np.cos(phase)]
    columns += [np.cos(year) * np.sin(phase), day / 300 * np.cos(phase), day / 300 * np.sin(phase)]
    partials = np.column_stack(columns)
    partials[is_range] = np.roll(partials[is_range], 1, axis=1) * 20.0
    partials[~is_range] *= 1e-3
    sigma = np.where(is_range, 0.7, 5e-5)
    locals_ = np.column_stack([is_range, ~is_range]).astype(float)
    return PassEquations(
        name=f"P{number:03d}",
        kind=np.where(is_range, "range", "range_rate"),
        epoch=epochs(int(day), n),
        residual=rng.normal(size=n) * sigma,
        sigma=sigma,
        partials=partials,
        local_names=(f"pass.P{number:03d}.range_bias", f"pass.P{number:03d}.doppler_bias"),
        local_partials=locals_,
        local_sigma=np.array([2.0, np.inf]),
        consider_partials=partials[:, :considered] * rng.normal(size=(n, considered)),
    )


def seasonal_parameters(sigma: float = np.inf) -> ParameterSet:
    return ParameterSet(Parameter(f"pole.term_{k}", "m", 0.0, sigma) for k in range(6))


def seasonal_passes(count: int, truth: Array, seed: int = 1) -> list[PassEquations]:
    rng = np.random.default_rng(seed)
    passes = [seasonal_pass(rng, number) for number in range(count)]
    return [replace(one, residual=one.residual + one.partials @ truth) for one in passes]


def keep(one: PassEquations, chosen: NDArray[np.bool_]) -> PassEquations:
    """Some of the samples of a pass."""
    rows = ("kind", "epoch", "residual", "sigma", "partials", "local_partials", "consider_partials")
    return replace(one, **{name: getattr(one, name)[chosen] for name in rows})


def one_sample(name: str, residual: float, sigma: float, partials: Array) -> PassEquations:
    nothing = np.zeros((1, 0))
    return PassEquations(
        name,
        np.array(["range"]),
        epochs(int(name[1:]), 1),
        np.array([residual]),
        np.array([sigma]),
        partials[None],
        (),
        nothing,
        np.zeros(0),
        nothing,
    )


def lunar_like(rng: np.random.Generator) -> tuple[list[PassEquations], ParameterSet]:
    """75 ranges to two reflectors from two stations, claimed far too precise, one wrong by 18.5 m.

    The sizes are those of real normal points: 0.6 to 13 mm claimed, 15 mm left by the model.
    """
    n = 75
    array = (np.arange(n) >= 44).astype(int)
    station = np.isin(np.arange(n), [54, 55, 56]).astype(int)
    day = np.sort(rng.uniform(7, 30, n))
    longitude = np.radians(7.0 * np.sin(2 * np.pi * day / 27.3) + 0.9 * np.cos(2 * np.pi * day))
    latitude = np.radians(6.5 * np.sin(2 * np.pi * day / 27.2 + 1.0))
    toward = np.column_stack(
        [
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        ]
    )
    rows = np.zeros((n, 8))
    for k in range(3):
        rows[np.arange(n), 3 * array + k] = -toward[:, k]
    rows[np.arange(n), 6 + station] = 1.0
    sigma = np.where(station == 1, 6e-4, 10 ** rng.uniform(np.log10(3e-3), np.log10(13e-3), n))
    residual = rng.normal(size=n) * np.hypot(sigma, 0.015)
    residual += rows @ np.array([1.0, -0.5, 0.3, 0.2, 0.4, -0.6, 0.1, -0.03])
    residual[62] += 18.5
    passes = [one_sample(f"N{i:02d}", residual[i], sigma[i], rows[i]) for i in range(n)]
    parameters = ParameterSet(
        [Parameter(f"lander.{a}.{c}", "m") for a in ("one", "two") for c in "xyz"]
        + [Parameter(f"station.{s}.range_bias", "m", sigma=0.05) for s in ("one", "two")]
    )
    return passes, parameters


def varied_solution() -> Solution:
    """With a considered and a fixed parameter, a known pair, a condition, a jump, a rejection."""
    rng = np.random.default_rng(1)
    passes = [seasonal_pass(rng, i, considered=1) for i in range(12)]
    passes[3].residual[4] += 1.0
    passes[5].residual[-6:] += 1000.0
    parameters = ParameterSet(
        [
            *seasonal_parameters().changed("pole.term_0", unit="mm", source="an almanac, 1987"),
            Parameter("station.one.x", "cm", 0.0, 0.1, "considered"),
            Parameter("spin.rate", "deg / d", 7.1e-5, status="fixed"),
        ],
        [Apriori(("pole.term_1", "pole.term_2"), [0.1, 0.2], [[4.0, 1.0], [1.0, 3.0]])],
        [Condition(("pole.term_3", "pole.term_4"), [[1.0, -1.0]])],
    )
    return fit(TablePasses(passes, np.zeros(6)), parameters, provenance={"seed": 7, "body": None})
