"""What a solution says of precession and core: the input of an inference of the interior.

In: a `Solution`, or single values with their uncertainties. Out: a `CoreEstimate`,
the mean and covariance of precession rate, core factor and core period, for
`wobble.planet.interior.infer_interior`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.solution import Solution
from wobble.planet.interior import (
    Mantle,
    PlanetFigure,
    PolarMoment,
    Precession,
    infer_interior,
    polar_moment,
)
from wobble.planet.interior_samples import InteriorSamples
from wobble.planet.layers import Crust

__all__ = ["NAMES", "CoreEstimate"]

Array = NDArray[np.float64]

NAMES = ("pole.precession_rate", "core.factor", "core.period")
"""The parameters that tell of the interior, in the order of mean and covariance."""


@dataclass(frozen=True, eq=False)
class CoreEstimate:
    """Some or all of precession rate, core factor and core period.

    Parameters
    ----------
    names : tuple of str
        Which of `NAMES` are known.
    mean : ndarray, shape (k,)
        Their values, SI (rad/s; no unit; s).
    covariance : ndarray, shape (k, k)
        Theirs.
    note : str
        Where it came from, and what is left out.
    """

    names: tuple[str, ...]
    mean: Array
    covariance: Array
    note: str = ""

    @classmethod
    def of(cls, solution: Solution) -> Self:
        """Estimates of a solution with their realistic covariance.

        The note names those that the data know only as far as they were known before.
        """
        estimated = solution.names
        names = tuple(name for name in NAMES if name in estimated)
        places = [estimated.index(name) for name in names]
        leaning = [f"{name} {solution[name].remark}" for name in names if solution[name].remark]
        return cls(
            names,
            solution.values[places],
            solution.covariance_realistic[np.ix_(places, places)],
            "; ".join(["estimates of a solution, realistic covariance", *leaning]),
        )

    @classmethod
    def from_values(cls, values: Mapping[str, tuple[float, float]], note: str) -> Self:
        """Independent values with their standard deviations, SI.

        Raises
        ------
        InputError
            If a name is not among `NAMES`, or a standard deviation is negative.
        """
        for name, (_, sigma) in values.items():
            if name not in NAMES:
                raise UnknownNameError("parameter of the interior", name, NAMES)
            if not sigma >= 0.0:
                raise InputError("a negative uncertainty", field=name, found=sigma)
        names = tuple(name for name in NAMES if name in values)
        pairs = np.array([values[name] for name in names], float).reshape(-1, 2)
        return cls(names, pairs[:, 0], np.diag(pairs[:, 1] ** 2), note)

    def replaced_by(self, other: CoreEstimate) -> CoreEstimate:
        """The values of another estimate in the place of one's own; the two are independent."""
        kept = [k for k, name in enumerate(self.names) if name not in other.names]
        own = tuple(self.names[k] for k in kept)
        names = tuple(name for name in NAMES if name in (*own, *other.names))
        mean, covariance = np.zeros(len(names)), np.zeros((len(names), len(names)))
        for part, rows in ((self, kept), (other, range(len(other.names)))):
            places = [names.index(part.names[k]) for k in rows]
            mean[places] = part.mean[list(rows)]
            covariance[np.ix_(places, places)] = part.covariance[np.ix_(list(rows), list(rows))]
        note = "; ".join(text for text in (self.note, other.note) if text)
        return replace(self, names=names, mean=mean, covariance=covariance, note=note)

    def value(self, name: str) -> tuple[float, float]:
        """Value and standard deviation of one of the parameters, SI.

        Raises
        ------
        InputError
            If it is not among those that are known.
        """
        if name not in self.names:
            raise InputError(
                "is not known, and the interior depends on it",
                field=name,
                found=", ".join(self.names) or "nothing",
                expected="an estimate in the solution, or a value beside it",
            )
        k = self.names.index(name)
        return float(self.mean[k]), float(np.sqrt(self.covariance[k, k]))

    @property
    def tells_of_the_core(self) -> bool:
        """Whether both parameters of the core are known."""
        return set(NAMES[1:]) <= set(self.names)

    def polar_moment(self, precession: Precession, figure: PlanetFigure) -> PolarMoment:
        """Polar moment of inertia from the precession rate (see `planet.interior`).

        Raises
        ------
        InputError
            If the rate is not known, or no planet has such a moment.
        """
        return polar_moment(*self.value(NAMES[0]), precession, figure)

    def interior(
        self,
        precession: Precession,
        figure: PlanetFigure,
        mantle: Mantle,
        rng: np.random.Generator,
        *,
        crust: Crust | None = None,
        samples: int = 4000,
    ) -> InteriorSamples:
        """Monte Carlo through the covariance: arguments as for `planet.interior.infer_interior`.

        Raises
        ------
        InputError
            If one of the three parameters is not known, or they stand for no planet.
        """
        for name in NAMES:
            self.value(name)
        return infer_interior(
            self.mean,
            self.covariance,
            precession,
            figure,
            mantle,
            rng,
            crust=crust,
            samples=samples,
        )
