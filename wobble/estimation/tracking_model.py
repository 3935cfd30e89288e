"""The measurements of a campaign as the estimator sees them: pass by pass, linearised.

In: a network, a table of measurements, the parameters, the noise budget, what is local to
a pass. Out: for given values of the estimated parameters, one `PassEquations` after the
other.

Blocks of whole passes are computed at a time, and the square root of each pass's noise
covariance waits on disk, so that memory does not grow with the campaign. The geometry on
which the noise depends is that of the first linearisation: the parameters of a lander move
it by nothing that counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from wobble.earth.series import WeatherSeries
from wobble.epochs import iso_texts
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.linearisation import Grouping
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.passes import LEAST_SAMPLES
from wobble.estimation.sample_limits import SampleLimits
from wobble.estimation.shelf import Shelf
from wobble.link.network import ComputedTracking, Network
from wobble.measurements.kinds import KINDS, kind_named
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.noise.covariance import CovarianceFactor
from wobble.noise.geometry import LEAST_ELEVATION, PassGeometry

__all__ = ["PassBiases", "TrackingModel", "grouping", "pass_geometry"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

BLOCK = 60_000
"""Measurements computed at a time: so many that those between the same ends keep all processors
busy, and that their partial derivatives are small beside everything else in memory."""


@dataclass(frozen=True)
class PassBiases:
    """A priori standard deviations of the biases of each pass; None for no such bias.

    Parameters
    ----------
    range : float or None
        m.
    range_rate : float or None
        m/s.
    one_way_range_rate : float or None
        m/s: the lander's oscillator drifts from pass to pass by more than a straight line says.
    """

    range: float | None = None
    range_rate: float | None = None
    one_way_range_rate: float | None = None

    def columns(self, pass_id: str, kind: NDArray[np.str_]) -> tuple[tuple[str, ...], Array, Array]:
        """Names, partial derivatives (n, q) and standard deviations (q,) for one pass."""
        present = [
            (f"pass.{pass_id}.{which}_bias", (kind == which).astype(float), getattr(self, which))
            for which in KINDS
            if getattr(self, which) is not None and (kind == which).any()
        ]
        if not present:
            return (), np.zeros((len(kind), 0)), np.zeros(0)
        names, partials, sigmas = zip(*present, strict=True)
        return tuple(names), np.column_stack(partials), np.array(sigmas)


def grouping(by: str) -> Grouping | None:
    """Labels of samples that share a variance component: their kind, with what they come from.

    Parameters
    ----------
    by : {"kind", "station", "pass"}
        Kinds with too few samples in a pass for a component of their own keep that of the
        kind: a single wild sample must not pass for a noisy pass.
    """
    if by == "kind":
        return None

    def label(equations: PassEquations) -> NDArray[np.str_]:
        name = equations.labels["station"] if by == "station" else equations.name
        kinds = equations.kind.astype(object)
        for kind in np.unique(equations.kind).tolist():
            members = equations.kind == kind
            if by == "station" or members.sum() >= LEAST_SAMPLES:
                kinds[members] = f"{kind} {name}"
        return np.asarray(kinds, str)

    return label


def pass_geometry(tracking: Tracking, computed: ComputedTracking, index: Indices) -> PassGeometry:
    """Geometry of the samples of one pass for the noise budget.

    Raises
    ------
    InputError
        If the noise of such samples is not known: counts that overlap, one-way samples among
        others. The message names the pass and, if the data know it, their file.
    """
    try:
        return _pass_geometry(tracking, computed, index)
    except InputError as error:
        raise InputError(
            f"pass {tracking.pass_id[index[0]]}: {error.problem}",
            source=tracking.meta.get("source"),
            field=error.field,
            found=error.found,
            expected=error.expected,
        ) from error


def _pass_geometry(tracking: Tracking, computed: ComputedTracking, index: Indices) -> PassGeometry:
    # In UTC a minute with a leap second would have one second too few.
    epoch = tracking.epoch[index].tai
    seconds = ((epoch.jd1 - epoch.jd1[0]) + (epoch.jd2 - epoch.jd2[0])) * 86400.0
    first = index[0]
    one_way = np.array([kind_named(kind).ways == 1 for kind in tracking.kind[index].tolist()])
    if one_way.any() and not one_way.all():
        raise InputError(
            "one-way and other samples in one pass", field="kind", expected="a pass for each"
        )
    two_way = tracking.transmitter[first] == tracking.receiver[first]
    return PassGeometry(
        time=seconds,
        count_time=tracking.count_time[index],
        kind=np.where(tracking.counted[index], "range_rate", "range"),
        elevation=computed.elevation[index],
        sun_angle=computed.sun_angle[index],
        round_trip=computed.round_trip[index],
        distance=computed.distance[index],
        ways=1 if one_way.all() else 2 if two_way else 3,
        transmit_elevation=computed.transmit_elevation[index],
        off_boresight=computed.off_boresight[index],
        antenna_gain_db=computed.antenna_gain_db[index],
    )


def _in_words(frequency: float) -> str:
    """A frequency (Hz) of radio or light."""
    return f"{frequency / 1e9:.4g} GHz" if frequency < 1e12 else f"{frequency / 1e12:.4g} THz"


class _Whitening:
    """Whitened rows of the accepted samples of a pass; its Cholesky factor waits on a shelf."""

    def __init__(self, lower: Array, shelf: Shelf) -> None:
        self._shelf = shelf
        self._place = shelf.put(lower)

    def __call__(self, rows: Array, accepted: Mask) -> Array:
        lower = self._shelf.get(self._place)
        if accepted.all():
            return CovarianceFactor(lower).whiten(rows)
        if not accepted.any():
            return rows[:0]
        # The covariance of some of the samples is that of their rows of the factor.
        some = lower[accepted]
        upper, _ = lapack.dpotrf((some @ some.T).T, lower=0, overwrite_a=1)
        return CovarianceFactor(upper.T).whiten(rows[accepted])


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
    range_ambiguity : float, optional
        After which the ranging code repeats itself, one-way, m: only to name errors by it.
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
    range_ambiguity: float = np.nan
    warnings: list[str] = field(default_factory=list, init=False)
    _first: bool = field(default=True, init=False, repr=False)
    _noise: dict[str, tuple[Array, _Whitening | None]] = field(default_factory=dict, repr=False)
    _shelf: Shelf = field(default_factory=Shelf, repr=False)

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
        network = self.network.with_values(dict(zip(estimated, values, strict=True)))
        names = [*estimated, *considered]
        for block in self._blocks():
            part = self.tracking[block]
            computed = network.compute(part, names)
            residual = part.value - computed.value
            excluded = self._excluded(part, computed, network.media.weather)
            if self._first:
                self.warnings += [w for w in computed.warnings if w not in self.warnings]
            epoch = iso_texts(part.epoch)
            self._lay_noise(part, computed.kept_above(LEAST_ELEVATION))
            for pass_id, index in part.passes():
                local_names, local_partials, local_sigma = self.biases.columns(
                    pass_id, part.kind[index]
                )
                sigma, whiten = self._pass_noise(pass_id, part, index)
                yield PassEquations(
                    name=pass_id,
                    kind=part.kind[index],
                    epoch=epoch[index],
                    residual=residual[index],
                    sigma=sigma,
                    partials=computed.partials[index, : len(estimated)],
                    local_names=local_names,
                    local_partials=local_partials,
                    local_sigma=local_sigma,
                    consider_partials=computed.partials[index, len(estimated) :],
                    whiten=whiten,
                    excluded=excluded[index],
                    step=self._steps(part, index),
                    labels=self._labels(part, computed, index),
                )
        self._first = False

    def _excluded(
        self, part: Tracking, computed: ComputedTracking, weather: WeatherSeries | None
    ) -> NDArray[np.str_]:
        """Why samples must not count: limits, and a horizon below which a budget has no noise."""
        reasons = self.limits.reasons(part, computed, weather).astype(object)
        if self.budget is None:
            return reasons.astype(str)
        for stations, elevation in (
            (part.transmitter, computed.transmit_elevation),
            (part.receiver, computed.elevation),
        ):
            for i in np.flatnonzero(elevation <= 0.0):
                angle = f"{np.degrees(elevation[i]):.0f} deg"
                reasons[i] = (
                    f"the lander is at {angle} of elevation, below the horizon of {stations[i]}"
                )
        return reasons.astype(str)

    def _labels(self, part: Tracking, computed: ComputedTracking, index: Indices) -> dict[str, str]:
        """Who measured a pass, with whom, and how."""
        middle = index[len(index) // 2]
        ends = part.transmitter[middle], part.receiver[middle]
        lander = str(part.lander[middle])
        antennas = self.network.landers[lander].antennas
        labels = {
            "station": " to ".join(dict.fromkeys(map(str, ends))),
            "lander": lander,
            "frequency": _in_words(float(part.frequency[middle])),
        }
        if antennas:
            labels["antenna"] = f"{antennas[int(computed.antenna[middle])].name} of {lander}"
        return labels

    def _steps(self, part: Tracking, index: Indices) -> Array:
        """Shift of each sample by a lost cycle or an ambiguity, SI, shape (n,)."""
        steps = np.empty(len(index))
        for kind in np.unique(part.kind[index]).tolist():
            rows = part.kind[index] == kind
            of_kind = index[rows]
            steps[rows] = kind_named(kind).step(
                part.frequency[of_kind],
                self.network.media.turnaround,
                part.count_time[of_kind],
                self.range_ambiguity,
            )
        return steps

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
        self, pass_id: str, part: Tracking, index: Indices
    ) -> tuple[Array, _Whitening | None]:
        if self.budget is not None:
            return self._noise[pass_id]
        kinds = part.kind[index]
        added = np.array([self.model_error.get(str(kind), 0.0) for kind in kinds])
        return np.hypot(part.sigma[index], added), None

    def _lay_noise(self, part: Tracking, computed: ComputedTracking) -> None:
        """Lay the noise of all passes that are met for the first time on the shelf."""
        if self.budget is None:
            return
        geometries = {
            pass_id: pass_geometry(part, computed, index)
            for pass_id, index in part.passes()
            if pass_id not in self._noise
        }
        names, white = list(geometries), self.budget.is_white
        for k, factor in self.budget.factors(list(geometries.values())):
            whitening = None if white else _Whitening(factor.lower, self._shelf)
            self._noise[names[k]] = (factor.sigma, whitening)
