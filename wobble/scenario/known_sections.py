"""What a scenario knows of its parameters beforehand, beyond their own standard deviations.

In: the arrays ``estimate.published`` and ``estimate.constraint`` of a scenario. Out: `Apriori`
and `Condition` of a `ParameterSet`.

    [[estimate.published]]                  # the pole as an earlier lander saw it
    source = "author, year, journal"
    epoch = 1977-06-01T00:00:00             # UTC; left out: J2000
    correlation = [[1.0, 0.3], [0.3, 1.0]]  # left out: none
    values = {"pole.node_longitude" = "35.497 deg", "pole.obliquity" = "25.19 deg"}
    sigmas = {"pole.node_longitude" = "80 mas", "pole.obliquity" = "40 mas"}

    [[estimate.constraint]]                 # lander.heron.z - lander.ibis.z = 1200 m
    coefficients = {"lander.heron.z" = 1.0, "lander.ibis.z" = -1.0}
    value = "1200 m"

An angle that has a rate among the parameters is published as it was at its own epoch:
``angle(t) = angle(J2000) + rate (t - J2000)``. A constraint without a value keeps the
combination at what the a priori values give, as for "no net rotation".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.estimation.apriori import Apriori, Condition
from wobble.estimation.parameters import ParameterSet
from wobble.planet.parameter_units import unit_of
from wobble.scenario.parameter_value import parameter_value
from wobble.text.toml_section import Section

__all__ = ["read_constraint", "read_published"]

Array = NDArray[np.float64]

RATES = {
    "pole.node_longitude": "pole.precession_rate",
    "pole.obliquity": "pole.obliquity_rate",
    "pole.right_ascension": "pole.right_ascension_rate",
    "pole.declination": "pole.declination_rate",
    "spin.angle": "spin.rate",
}
"""The rate at which an angle moves away from its value at J2000."""


def read_published(section: Section, parameters: ParameterSet) -> Apriori:
    """A published result at its own epoch, with its correlations."""
    values, sigmas = section.section("values"), section.section("sigmas")
    published = values.keys()
    if not published:
        raise section.error("values", "nothing is published", "no parameter", "at least one")
    value = _numbers(values, published, parameters)
    sigma = _numbers(sigmas, published, parameters)
    if not (sigma > 0).all():
        key = published[int(np.argmin(sigma))]
        raise sigmas.error(
            key, "is not positive", sigmas.text(key), "a positive standard deviation"
        )
    sigmas.finish()
    seconds = 0.0
    if "epoch" in section:
        epoch = section.epoch("epoch").reshape((1,))
        seconds = float(Epochs.from_time(epoch, "tdb").since_j2000[0])
    rates = {a: RATES[a] for a in published if seconds and RATES.get(a) in parameters}
    names = list(dict.fromkeys([*published, *rates.values()]))
    design = np.zeros((len(published), len(names)))
    for row, angle in enumerate(published):
        design[row, names.index(angle)] += 1.0
        if angle in rates:
            design[row, names.index(rates[angle])] += seconds
    covariance = _correlation(section, len(published)) * np.outer(sigma, sigma)
    source = section.text("source", "published")
    section.finish()
    free = [parameters[name].status != "fixed" for name in names]
    if not any(free):
        raise section.error("values", "all of these are fixed", ", ".join(names), "one estimated")
    # What is fixed is known: its share goes over to the values.
    known = np.array([0.0 if f else parameters[n].value for n, f in zip(names, free, strict=True)])
    kept = [name for name, f in zip(names, free, strict=True) if f]
    try:
        return Apriori(kept, value - design @ known, covariance, design[:, free], source)
    except InputError as error:
        raise section.located(error, "correlation") from error


def _numbers(section: Section, names: list[str], parameters: ParameterSet) -> Array:
    """Values of parameters by their names, SI."""
    numbers = []
    for name in names:
        section.require_known(name, parameters.names)
        numbers.append(parameter_value(section, name))
    return np.array(numbers)


def _correlation(section: Section, n: int) -> Array:
    if "correlation" not in section:
        return np.eye(n)
    matrix = section.matrix("correlation")
    if matrix.shape != (n, n) or not (np.diag(matrix) == 1.0).all():
        raise section.error(
            "correlation",
            "does not match the values",
            f"a matrix of {' by '.join(map(str, matrix.shape))}",
            f"one of {n} by {n} with a diagonal of ones",
        )
    return matrix


def read_constraint(section: Section, parameters: ParameterSet) -> Condition:
    """An equation that the estimates fulfil exactly."""
    given = section.section("coefficients")
    names = given.keys()
    for name in names:
        given.require_known(name, parameters.names)
        if parameters[name].status != "estimated":
            raise given.error(name, "is not estimated", parameters[name].status, "an estimated one")
    if not names:
        raise section.error("coefficients", "no coefficient", "nothing", "at least one parameter")
    coefficients = np.array([given.number(name) for name in names])
    units = {unit_of(name).si for name in names}
    if "value" not in section:
        value = float(coefficients @ [parameters[name].value for name in names])
    elif len(units) == 1 and "" not in units:
        value = section.quantity("value", units.pop())
    else:
        value = section.number("value")
    section.finish()
    try:
        return Condition(names, coefficients, value)
    except InputError as error:
        raise section.located(error, "coefficients") from error
