"""A planet's nutation computed from the torque, as terms of its rotation model.

In: the integrated axis (`wobble.planet.rigid_axis`) and its series (`wobble.planet.nutation`).
Out: two terms of the orientation angles, as `wobble.planet.angle_terms` describes them:

* `IntegratedAxis`: precession and nutation of the rigid planet, interpolated;
* `CoreResonance`: what a liquid core adds to the circles of the series.

The integrated axis stands for one mean orientation and one precession rate, those of the
secular part of its series at J2000. The parameters of the pole are counted from there:

    psi = psi_axis(t) + (pole.node_longitude - psi_0) + (pole.precession_rate - psi_0') t,
    eps = eps_axis(t) + (pole.obliquity - eps_0) + (pole.obliquity_rate - eps_0') t.

So `pole.precession_rate` is the axis's mean rate at J2000, the quadratic part is the torque's,
and a change of the rate by delta adds ``delta t`` and nothing else: the nutation stays that of
the given flattening (0.1 % of it is 7.6 mas/yr and half a milliarcsecond for Mars).

The spin angle is counted from the equator's node; so that it does not take part in what moves
the node beyond a uniform precession, it carries ``-cos(eps_0) (psi_axis - psi_0 - psi_0' t)``:
the integral of ``-cos(eps) dpsi`` to 0.003 mas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.angle_terms import NODE, OBLIQUITY, SPIN
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.liquid_core import LiquidCore
from wobble.planet.nutation_series import NutationSeries
from wobble.planet.rigid_axis import SpinAxis

__all__ = ["CoreResonance", "IntegratedAxis"]

Array = NDArray[np.float64]

MOMENT = 1e-6
"""Interval over which an increment is a rate, s: nothing cancels in it."""


@dataclass(frozen=True, eq=False)
class IntegratedAxis:
    """Precession and nutation of the rigid planet from a table, moved by four parameters.

    Parameters
    ----------
    axis : SpinAxis
        Its figure axis is the pole.
    series : NutationSeries
        Fitted to this axis; its secular part at J2000 is what the parameters are counted from.

    Raises
    ------
    InputError
        If the series does not refer to J2000.0.
    """

    axis: SpinAxis
    series: NutationSeries

    names = (
        "pole.node_longitude",
        "pole.precession_rate",
        "pole.obliquity",
        "pole.obliquity_rate",
    )

    def __post_init__(self) -> None:
        if self.series.harmonics.epoch != 0.0:
            raise InputError(
                "the mean orientation refers to another epoch than the rotation's parameters",
                field="epoch",
                found=self.series.harmonics.epoch,
                expected="0 s from J2000.0",
            )

    @property
    def mean_values(self) -> dict[str, float]:
        """The parameters at which the term is the integrated axis itself."""
        s = self.series
        means = (s.longitude, s.precession_rate, s.obliquity, s.obliquity_rate)
        return dict(zip(self.names, means, strict=True))

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        rigid = self.axis.value(epochs)
        beyond = rigid[:, 0] - self.series.longitude
        beyond -= self.series.precession_rate * epochs.since_j2000
        return self._spread(rigid + self._moved(values, epochs), beyond)

    def secular(self, values: dict[str, float], epochs: Epochs) -> Array:
        """psi and eps without the nutation, rad, shape (n, 2): a polynomial of second degree."""
        return self.series.harmonics.secular(epochs) + self._moved(values, epochs)

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        moved = self.axis.increment(epochs, interval)
        beyond = moved[:, 0] - self.series.precession_rate * interval
        _, psi_rate, _, eps_rate = self._corrections(values)
        moved += np.multiply.outer(interval, [psi_rate, eps_rate])
        return self._spread(moved, beyond)

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        return self._by_name(np.ones_like(t), t)

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        return self._by_name(np.zeros_like(t), np.ones_like(t))

    def _moved(self, values: dict[str, float], epochs: Epochs) -> Array:
        """By how much the parameters move psi and eps, shape (n, 2)."""
        psi, psi_rate, eps, eps_rate = self._corrections(values)
        return np.array([psi, eps]) + np.multiply.outer(epochs.since_j2000, [psi_rate, eps_rate])

    def _corrections(self, values: dict[str, float]) -> list[float]:
        return [values[name] - mean for name, mean in self.mean_values.items()]

    def _spread(self, moved: Array, beyond: Array) -> Array:
        out = np.zeros((len(moved), 5))
        out[:, [NODE, OBLIQUITY]] = moved
        out[:, SPIN] = -np.cos(self.series.obliquity) * beyond
        return out

    def _by_name(self, constant: Array, linear: Array) -> dict[str, Array]:
        out = {name: np.zeros((len(constant), 5)) for name in self.names}
        for angle, (level, rate) in ((NODE, self.names[:2]), (OBLIQUITY, self.names[2:])):
            out[level][:, angle] = constant
            out[rate][:, angle] = linear
        return out


@dataclass(frozen=True, eq=False)
class CoreResonance:
    """What a liquid core adds to a rigid planet's nutation.

    Each circle of the series, drift included, is multiplied by the transfer function less one
    (see `wobble.planet.liquid_core`); the rigid motion itself is another term's.

    Parameters
    ----------
    rigid : NutationSeries
        The rigid planet's series.
    """

    rigid: NutationSeries

    names = ("core.factor", "core.period")

    def _core(self, values: dict[str, float]) -> LiquidCore:
        return LiquidCore(values["core.factor"], values["core.period"])

    def _by_factor(self, values: dict[str, float]) -> HarmonicSeries:
        """The motion for a core factor of one; it is proportional to the factor."""
        return self._core(values).amplify_by_factor(self.rigid).harmonics

    def _by_period(self, values: dict[str, float]) -> HarmonicSeries:
        return self._core(values).amplify_by_period(self.rigid).harmonics

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return values["core.factor"] * self._spread(self._by_factor(values).periodic(epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        moved = self._by_factor(values).periodic_increment(epochs, interval)
        return values["core.factor"] * self._spread(moved)

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        return {
            "core.factor": self._spread(self._by_factor(values).periodic(epochs)),
            "core.period": self._spread(self._by_period(values).periodic(epochs)),
        }

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        return {
            "core.factor": self._spread(_rate(self._by_factor(values), epochs)),
            "core.period": self._spread(_rate(self._by_period(values), epochs)),
        }

    def _spread(self, nutation: Array) -> Array:
        """dpsi and deps, shape (n, 2), as angles; the spin angle follows with -cos(eps)."""
        out = np.zeros((len(nutation), 5))
        out[:, [NODE, OBLIQUITY]] = nutation
        out[:, SPIN] = -np.cos(self.rigid.obliquity) * out[:, NODE]
        return out


def _rate(series: HarmonicSeries, epochs: Epochs) -> Array:
    return series.periodic_increment(epochs, MOMENT) / MOMENT
