"""Quantities of the interior as targets of a plan: C/MR^2 and the core's radius.

In: what is assumed of the planet (its figure, its mantle, the torque that makes it precess)
and the scenario's rotation. Out: for each quantity its derivatives by the parameters that
are estimated, so that its standard deviation follows from theirs to first order,
``sigma^2 = g^T P g``, and what the assumptions alone leave uncertain.

* ``C/MR^2`` follows from the precession rate (`wobble.planet.interior`); a relative
  uncertainty of the rate is the same one of the moment.
* ``core.radius``, of two uniform layers, follows from the core factor too: for Mars some
  60 km for 0.01.

No pass improves what is assumed. For the core's radius the Love number's uncertainty alone
matters; the range of models of the mantle, which is far larger, is not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.planet.interior import (
    Mantle,
    PlanetFigure,
    Precession,
    infer_interior,
    interior_model,
)
from wobble.planet.parameter_units import ParameterUnit, unit_of

__all__ = ["DERIVED", "DerivedQuantity", "InteriorModel", "quantity_unit"]

Array = NDArray[np.float64]

DERIVED = {
    "C/MR^2": ParameterUnit("", "", "polar moment of inertia"),
    "core.radius": ParameterUnit("m", "km", "radius of the core"),
}
"""Quantities that are not parameters, with their units."""
FIELDS = {"C/MR^2": "polar_moment", "core.radius": "core_radius"}
STEPS = {"pole.precession_rate": 1e-4, "core.factor": 1e-2, "core.period": 1e-2}
"""Of each parameter the relative step by which derivatives are taken."""
NEGLIGIBLE = 1e-9
"""Relative change of a quantity, for that step, that is none."""
SAMPLES = 400


def quantity_unit(name: str) -> ParameterUnit:
    """Units of a parameter or a derived quantity.

    Raises
    ------
    UnknownNameError
        If there is no such name.
    """
    return DERIVED[name] if name in DERIVED else unit_of(name)


@dataclass(frozen=True)
class DerivedQuantity:
    """A quantity that follows from the parameters.

    Parameters
    ----------
    name : str
    value : float
        SI.
    slopes : mapping of str to float
        Its derivatives by the parameters on which it depends, SI.
    assumed : float
        Standard deviation that the assumptions leave, whatever the passes, SI.
    """

    name: str
    value: float
    slopes: Mapping[str, float]
    assumed: float

    def gradient(self, parameters: tuple[str, ...]) -> Array:
        """Derivatives by the estimated parameters, shape (p,).

        Raises
        ------
        InputError
            If one on which it depends is not estimated.
        """
        for name in self.slopes:
            if name not in parameters:
                raise InputError(
                    f"{self.name} depends on a parameter that is not estimated",
                    field=name,
                    expected="it among the estimated parameters",
                )
        return np.array([self.slopes.get(name, 0.0) for name in parameters])


@dataclass(frozen=True)
class InteriorModel:
    """What is assumed of a planet beside its rotation.

    Parameters
    ----------
    precession : Precession
        Rate per flattening.
    figure : PlanetFigure
    mantle : Mantle
    """

    precession: Precession
    figure: PlanetFigure
    mantle: Mantle

    def derived(self, name: str, rotation: Mapping[str, float]) -> DerivedQuantity:
        """One of `DERIVED` about the values of a rotation.

        Parameters
        ----------
        name : str
        rotation : mapping of str to float
            Values of precession rate, core factor and core period, SI.

        Raises
        ------
        InputError
            If the rotation lacks one of them, or they stand for no planet.
        """
        for needed in STEPS:
            if needed not in rotation:
                raise InputError(f"the body has none, on which {name} depends", field=needed)
        centre = np.array([rotation[needed] for needed in STEPS])
        steps = centre * np.array(list(STEPS.values()))
        # The centre, then each parameter a step up, then each a step down.
        points = np.vstack([centre, centre + np.diag(steps), centre - np.diag(steps)])
        rate, factor, period = points.T
        model = interior_model(rate, factor, period, self.precession, self.figure, self.mantle)
        values = getattr(model, FIELDS[name])
        if not np.isfinite(values).all():
            raise InputError("the rotation of the scenario stands for no planet", field=name)
        changes = 0.5 * (values[1:4] - values[4:7])
        slopes = {
            needed: float(change / step)
            for needed, change, step in zip(STEPS, changes, steps, strict=True)
            if abs(change) > NEGLIGIBLE * abs(values[0])
        }
        return DerivedQuantity(name, float(values[0]), slopes, self._assumed(name, centre))

    def _assumed(self, name: str, centre: Array) -> float:
        rng = np.random.default_rng(1)
        samples = infer_interior(
            centre,
            np.zeros((3, 3)),
            self.precession,
            self.figure,
            self.mantle,
            rng,
            samples=SAMPLES,
        )
        return float(getattr(samples, FIELDS[name]).std())
