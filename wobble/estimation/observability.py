"""What the data cannot tell, in words.

In: information with and without what is known beforehand. Out: the combinations of
parameters that are poorly separated, those on which only what was known beforehand
speaks, and an error that names what is not determined at all.

The columns of the square-root information are scaled to unit length, so that every
parameter is measured in the standard deviation that it would have if all the others were
known. In these units a singular value of one says that a combination suffers nothing from
the others; two parameters of correlation r have the smallest value ``sqrt(1 - |r|)``; a
value of zero, that the data do not change at all along the combination (Golub & Van Loan
2013, Matrix Computations, sect. 5.5).

With a priori knowledge everything is determined, and a standard deviation may look like one
that the data gave. With R the root of the data's information and U that of all, ``R U^-1`` has
singular values c between zero and one: along the direction that belongs to one of them the
share c^2 of the information is the data's (the generalised singular values of data and a priori
knowledge; Golub & Van Loan 2013, sect. 6.1.6, from memory). Where it is next to nothing, the
combination is not seen by the data. Of the error of an estimate one part is that of the noise,
the other that of what was taken to be known; along such a direction their variances are as c^2
to 1 - c^2. The latter's part of the whole variance is the parameter's a priori share (Rodgers
2000, Inverse Methods for Atmospheric Sounding, sect. 3.2: retrieval noise and smoothing error,
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr, solve_triangular

from wobble.errors import InputError
from wobble.estimation.conditions import free_directions
from wobble.estimation.least_squares import DEPENDENT, SquareRootInformation
from wobble.estimation.parameters import ParameterSet
from wobble.shown import shortly

__all__ = [
    "LIMITED",
    "NOT_IMPROVED",
    "Combination",
    "UnseenCombination",
    "WeakCombination",
    "limiting_knowledge",
    "require_determined",
    "unseen_combinations",
    "weak_combinations",
]

Array = NDArray[np.float64]

# A parameter whose standard deviation stays above this share of the a priori one was not
# improved by the data.
NOT_IMPROVED = 0.95
# Singular value below which a combination is named: a correlation of 0.9975.
WEAK = 0.05
# Share of a direction that a parameter must have to be named in it.
MEMBER = 0.15
# A combination is not seen by the data if its standard deviation stays above NOT_IMPROVED of
# what it was: if so little of the information is the data's.
UNSEEN = 1.0 - NOT_IMPROVED**2
# Share of a parameter's standard deviation that a combination must be to name it there.
UNSEEN_MEMBER = 0.3
# A priori knowledge limits a parameter if more than this share of its variance is a priori.
LIMITED = 0.5
MOST_NAMED = 8


@dataclass(frozen=True)
class Combination:
    """Parameters that move together.

    Attributes
    ----------
    strength : float
        How much the data have to say.
    members : tuple of (str, float)
        Parameters and how far each can move along the combination, in its own unit.
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

    @property
    def moves(self) -> str:
        """The members and their amounts in words."""
        return ", ".join(
            f"{name} by {shortly(amount, 3, signed=True)} {unit}".rstrip()
            for (name, amount), unit in zip(self.members, self.units, strict=True)
        )


@dataclass(frozen=True)
class WeakCombination(Combination):
    """Parameters that can hardly be told apart.

    ``strength`` is the singular value in scaled units, zero if the combination is not
    determined at all; the amounts are what can be moved until data or a priori knowledge
    notice (one sigma), or relative if nothing ever does.
    """

    def __str__(self) -> str:
        if self.strength < DEPENDENT:
            return f"no datum changes when these move together: {self.moves}"
        return f"these move together before data or a priori knowledge notice: {self.moves}"


@dataclass(frozen=True)
class UnseenCombination(Combination):
    """Parameters of which the data say nothing together that was not known beforehand.

    ``strength`` is the root of the share of the information that is the data's; the amounts
    are one sigma of what is known in the end.
    """

    def __str__(self) -> str:
        return f"only what was known before keeps these from moving together: {self.moves}"


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
    strength = float(value) if value >= DEPENDENT else 0.0
    return WeakCombination(strength, *_told(chosen, amounts, parameters))


def unseen_combinations(
    data: SquareRootInformation, information: SquareRootInformation, parameters: ParameterSet
) -> tuple[list[UnseenCombination], Array]:
    """Combinations of two or more parameters that the data do not see.

    Parameters
    ----------
    data, information : SquareRootInformation
        Of the data alone; and with the a priori knowledge.
    parameters : ParameterSet
        The estimated parameters. Their exact conditions hold: no combination violates one.

    Returns
    -------
    combinations : list of UnseenCombination
        Led each by another parameter, the one of which most is unseen first.
    share : ndarray, shape (p,)
        A priori share of the variance of each parameter: what comes from the errors of what
        was known, and not from the noise of the data.
    """
    along = free_directions(information, parameters.condition_rows()[0])
    triangle = np.linalg.qr(information.matrix @ along, mode="r")
    root = solve_triangular(triangle, along.T, trans="T").T
    sigma = np.linalg.norm(root, axis=1)
    _, seen, directions = np.linalg.svd(data.matrix @ root, full_matrices=False)
    loadings = root @ directions.T / np.where(sigma > 0, sigma, 1.0)[:, None]
    share = (loadings**2) @ np.maximum(1.0 - seen**2, 0.0)
    unseen = seen**2 < UNSEEN
    if not unseen.any():
        return [], share
    # Any basis of the unseen directions will do: with pivoting each is led by one parameter.
    basis, leading, order = qr(loadings[:, unseen].T, mode="economic", pivoting=True)
    strengths = np.linalg.norm(seen[unseen, None] * basis, axis=0)
    found = []
    for row, strength in zip(leading, strengths.tolist(), strict=True):
        direction = np.empty_like(row)
        direction[order] = row
        largest = np.argsort(-np.abs(direction))
        members = [int(i) for i in largest if abs(direction[i]) > UNSEEN_MEMBER]
        if len(members) > 1:
            amounts = np.sign(direction[members[0]]) * direction * sigma / parameters.scales
            found.append(UnseenCombination(strength, *_told(members, amounts, parameters)))
    return found, share


def limiting_knowledge(root: Array, parameters: ParameterSet) -> tuple[str, ...]:
    """For each parameter the piece of a priori knowledge whose error moves it most.

    With P the covariance of the estimates and a the whitened row of one piece of knowledge, an
    error of one sigma of that piece moves the estimates by ``P a`` (the smoothing error of Rodgers
    2000, sect. 3.2, row by row). The errors of a published set are taken one after the other,
    each without what the ones before it tell.

    Parameters
    ----------
    root : ndarray, shape (p, r)
        With ``root root^T`` the covariance of the estimates.
    parameters : ParameterSet
        The p estimated parameters.

    Returns
    -------
    subjects : tuple of str
        What that piece is about; empty if nothing is known.
    """
    subjects = parameters.a_priori_subjects()
    if not subjects:
        return ("",) * len(parameters)
    moved = root @ (parameters.a_priori_rows()[0] @ root).T
    return tuple(subjects[int(k)] for k in np.argmax(np.abs(moved), axis=1))


def _told(
    members: list[int], amounts: Array, parameters: ParameterSet
) -> tuple[tuple[tuple[str, float], ...], tuple[str, ...]]:
    """Names with amounts, and units, of some of the parameters."""
    return (
        tuple((parameters.names[i], float(amounts[i])) for i in members),
        tuple(parameters.parameters[i].unit for i in members),
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
