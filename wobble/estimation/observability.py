"""What the data cannot tell, in words.

In: information with and without what is known beforehand. Out: the combinations of
parameters that are poorly separated, the parameters on which only the a priori value
speaks, and an error that names what is not determined at all.

The columns of the square-root information are scaled to unit length, so that every
parameter is measured in the standard deviation that it would have if all the others were
known. In these units a singular value of one says that a combination suffers nothing from
the others; two parameters of correlation r have the smallest value ``sqrt(1 - |r|)``; a
value of zero, that the data do not change at all along the combination (Golub & Van Loan
2013, Matrix Computations, sect. 5.5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.estimation.least_squares import DEPENDENT, SquareRootInformation
from wobble.estimation.parameters import ParameterSet

__all__ = ["NOT_IMPROVED", "WeakCombination", "require_determined", "weak_combinations"]

Array = NDArray[np.float64]

# A parameter whose standard deviation stays above this share of the a priori one was not
# improved by the data.
NOT_IMPROVED = 0.95
# Singular value below which a combination is named: a correlation of 0.9975.
WEAK = 0.05
# Share of a direction that a parameter must have to be named in it.
MEMBER = 0.15
MOST_NAMED = 8


@dataclass(frozen=True)
class WeakCombination:
    """Parameters that the data can hardly tell apart.

    Attributes
    ----------
    strength : float
        Singular value in scaled units; zero if not determined at all.
    members : tuple of (str, float)
        Parameters and how far each can move along the combination until the data
        notice (one sigma), in its own unit; relative amounts if the data never do.
    units : tuple of str
        Their units.
    """

    strength: float
    members: tuple[tuple[str, float], ...]
    units: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The parameters involved."""
        return tuple(name for name, _ in self.members)

    def __str__(self) -> str:
        moves = ", ".join(
            f"{name} by {amount:+.3g} {unit}".rstrip()
            for (name, amount), unit in zip(self.members, self.units, strict=True)
        )
        if self.strength < DEPENDENT:
            return f"no datum changes when these move together: {moves}"
        return f"these move together before the data notice: {moves}"


def weak_combinations(
    information: SquareRootInformation, parameters: ParameterSet, limit: float = WEAK
) -> list[WeakCombination]:
    """Combinations with a singular value below the limit, the weakest first.

    Parameters
    ----------
    information : SquareRootInformation
        Of data, or of data and a priori knowledge.
    parameters : ParameterSet
        The estimated parameters, for their units.
    limit : float
        Singular value in scaled units.
    """
    scale, values, directions = information.spectrum()
    found: list[WeakCombination] = []
    for value, direction in zip(values[::-1], directions[::-1], strict=True):
        if value >= limit or len(found) == MOST_NAMED:
            break
        found.append(_combination(value, direction, scale, parameters))
    return found


def _combination(
    value: float, direction: Array, scale: Array, parameters: ParameterSet
) -> WeakCombination:
    order = np.argsort(-np.abs(direction))
    chosen = [int(i) for i in order if abs(direction[i]) > MEMBER]
    # The sign of a direction means nothing: the largest member moves forward.
    forward = np.sign(direction[chosen[0]])
    length = value if value >= DEPENDENT else 1.0
    amounts = forward * direction / (length * scale) / parameters.scales
    return WeakCombination(
        float(value) if value >= DEPENDENT else 0.0,
        tuple((parameters.names[i], float(amounts[i])) for i in chosen),
        tuple(parameters.parameters[i].unit for i in chosen),
    )


def require_determined(
    information: SquareRootInformation, parameters: ParameterSet, samples: int
) -> None:
    """See that data and a priori knowledge together determine every parameter.

    Parameters
    ----------
    information : SquareRootInformation
        Of data and a priori knowledge.
    parameters : ParameterSet
        The estimated parameters.
    samples : int
        Number of samples, for the message.

    Raises
    ------
    InputError
        Naming parameters on which no datum depends, or combinations that no datum can
        resolve.
    """
    if np.isfinite(information.sigma()).all():
        return
    remedy = "an a priori standard deviation, or a fixed value, for at least one of them"
    empty = np.linalg.norm(information.matrix, axis=0) == 0
    if empty.any():
        raise InputError(
            "no datum depends on this parameter, and nothing is known of it beforehand",
            field=", ".join(np.array(parameters.names)[empty]),
            expected="an a priori standard deviation, or a fixed value",
        )
    known = len(parameters.a_priori_rows()[0])
    if samples + known < len(parameters):
        raise InputError(
            "there are fewer data than parameters",
            field=", ".join(parameters.names),
            found=f"{samples} samples and {known} a priori values for {len(parameters)} parameters",
            expected=remedy,
        )
    combinations = weak_combinations(information, parameters, DEPENDENT)
    raise InputError(
        "the data cannot separate parameters, and nothing is known of them beforehand: "
        + "; ".join(str(c) for c in combinations),
        field=", ".join(dict.fromkeys(name for c in combinations for name in c.names)),
        expected=remedy,
    )
