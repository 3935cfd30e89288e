"""The measurements of a campaign as the estimator sees them: pass by pass, linearised.

In: a network, a table of measurements, the parameters, the noise budget, what is local to
a pass. Out: for given values of the estimated parameters, one `PassEquations` after the
other.

Blocks of whole passes are computed at a time, so that memory does not grow with the
campaign. The geometry on which the noise depends is that of the first linearisation: the
parameters of a lander move it by nothing that counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wobble.errors import UnknownNameError
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.sample_limits import SampleLimits
from wobble.link.network import BLOCK, ComputedTracking, Network
from wobble.noise.budget import Budget
from wobble.noise.covariance import CovarianceFactor
from wobble.noise.geometry import PassGeometry
from wobble.tracking import Tracking

__all__ = ["PassBiases", "TrackingModel", "pass_geometry"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class PassBiases:
    """A priori standard deviations of the biases of each pass; None for no such bias.

    Parameters
    ----------
    range : float or None
        m.
    range_rate : float or None
        m/s.
    """

    range: float | None = None
    range_rate: float | None = None

    def columns(self, pass_id: str, kind: NDArray[np.str_]) -> tuple[tuple[str, ...], Array, Array]:
        """Names, partial derivatives (n, q) and standard deviations (q,) for one pass."""
        present = [
            (f"pass.{pass_id}.{which}_bias", (kind == which).astype(float), sigma)
            for which, sigma in (("range", self.range), ("range_rate", self.range_rate))
            if sigma is not None and (kind == which).any()
        ]
        if not present:
            return (), np.zeros((len(kind), 0)), np.zeros(0)
        names, partials, sigmas = zip(*present, strict=True)
        return tuple(names), np.column_stack(partials), np.array(sigmas)


def pass_geometry(tracking: Tracking, computed: ComputedTracking, index: Indices) -> PassGeometry:
    """Geometry of the samples of one pass for the noise budget."""
    epoch = tracking.epoch[index]
    seconds = ((epoch.jd1 - epoch.jd1[0]) + (epoch.jd2 - epoch.jd2[0])) * 86400.0
    one_way = tracking.transmitter[index[0]] == tracking.receiver[index[0]]
    return PassGeometry(
        time=seconds,
        count_time=tracking.count_time[index],
        kind=tracking.kind[index],
        elevation=computed.elevation[index],
        sun_angle=computed.sun_angle[index],
        round_trip=computed.round_trip[index],
        distance=computed.distance[index],
        ways=2 if one_way else 3,
        transmit_elevation=computed.transmit_elevation[index],
        off_boresight=computed.off_boresight[index],
    )


class _Whitening:
    """Whitened rows of the accepted samples; the factor of the whole pass is kept."""

    def __init__(self, budget: Budget, geometry: PassGeometry) -> None:
        self._budget = budget
        self._geometry = geometry
        self._factor: CovarianceFactor | None = None

    def __call__(self, rows: Array, accepted: Mask) -> Array:
        if accepted.all():
            if self._factor is None:
                self._factor = self._budget.factor(self._geometry)
            return self._factor.whiten(rows)
        if not accepted.any():
            return rows[:0]
        return self._budget.whiten(self._geometry[accepted], rows[accepted])


@dataclass(eq=False)
class TrackingModel:
    """Measurements against a network, for the estimator.

    Parameters
    ----------
    network : Network
        With the a priori values of all parameters.
    tracking : Tracking
        The measurements.
    parameters : ParameterSet
        Those estimated and considered give the columns.
    biases : PassBiases
        What is local to a pass.
    budget : Budget, optional
        Noise of the measurements; left out, their own standard deviations are used and the
        samples taken as independent.
    model_error : mapping, optional
        For a kind of measurement, what the model cannot describe (m or m/s): added in squares
        to the measurements' own standard deviations. Not used with a budget.
    limits : SampleLimits
        What excludes samples whatever their residual.

    Attributes
    ----------
    warnings : list of str
        Those of the first linearisation's computed measurements.
    """

    network: Network
    tracking: Tracking
    parameters: ParameterSet
    biases: PassBiases
    budget: Budget | None = None
    model_error: Mapping[str, float] = field(default_factory=dict)
    limits: SampleLimits = field(default_factory=SampleLimits)
    warnings: list[str] = field(default_factory=list, init=False)
    _first: bool = field(default=True, init=False, repr=False)
    _noise: dict[str, tuple[Array, _Whitening | None]] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        for name, known in (
            *((n, self.network.stations) for n in np.unique(self.tracking.transmitter)),
            *((n, self.network.stations) for n in np.unique(self.tracking.receiver)),
        ):
            if name not in known:
                raise UnknownNameError("station in the data", str(name), known)
        for name in np.unique(self.tracking.lander):
            if name not in self.network.landers:
                raise UnknownNameError("lander in the data", str(name), self.network.landers)

    def equations(self, values: Array) -> Iterator[PassEquations]:
        """The passes, linearised at these values of the estimated parameters (p,)."""
        estimated = self.parameters.estimated.names
        considered = self.parameters.considered.names
        given = dict(zip(estimated, values, strict=True))
        known = self.network.values
        network = self.network.with_values({n: v for n, v in given.items() if n in known})
        names = [*estimated, *considered]
        for block in self._blocks():
            part = self.tracking[block]
            computed = network.compute(part, names)
            residual = part.value - computed.value - self._station_biases(part, given)
            excluded = self.limits.reasons(part, computed, network.media.weather)
            if self._first:
                self.warnings += [w for w in computed.warnings if w not in self.warnings]
            for pass_id, index in part.passes():
                local_names, local_partials, local_sigma = self.biases.columns(
                    pass_id, part.kind[index]
                )
                sigma, whiten = self._pass_noise(pass_id, part, computed, index)
                yield PassEquations(
                    name=pass_id,
                    kind=part.kind[index],
                    epoch=part.epoch[index].isot,
                    residual=residual[index],
                    sigma=sigma,
                    partials=computed.partials[index, : len(estimated)],
                    local_names=local_names,
                    local_partials=local_partials,
                    local_sigma=local_sigma,
                    consider_partials=computed.partials[index, len(estimated) :],
                    whiten=whiten,
                    excluded=excluded[index],
                )
        self._first = False

    def _blocks(self) -> Iterator[Indices]:
        """Whole passes until a block is full."""
        waiting: list[Indices] = []
        for _, index in self.tracking.passes():
            waiting.append(index)
            if sum(map(len, waiting)) >= BLOCK:
                yield np.concatenate(waiting)
                waiting = []
        if waiting:
            yield np.concatenate(waiting)

    def _pass_noise(
        self, pass_id: str, part: Tracking, computed: ComputedTracking, index: Indices
    ) -> tuple[Array, _Whitening | None]:
        if self.budget is None:
            kinds = part.kind[index]
            added = np.array([self.model_error.get(str(kind), 0.0) for kind in kinds])
            return np.hypot(part.sigma[index], added), None
        if pass_id not in self._noise:
            geometry = pass_geometry(part, computed, index)
            whiten = None if self.budget.is_white else _Whitening(self.budget, geometry)
            self._noise[pass_id] = (self.budget.sigma(geometry), whiten)
        return self._noise[pass_id]

    @staticmethod
    def _station_biases(part: Tracking, given: dict[str, float]) -> Array:
        biases: Sequence[float] = [
            given.get(f"station.{receiver}.range_bias", 0.0) for receiver in part.receiver
        ]
        return np.where(part.kind == "range", biases, 0.0)
