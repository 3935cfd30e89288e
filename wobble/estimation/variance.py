"""How much noisier the data are than their standard deviations say.

In: residuals with the standard deviations that came with the data. Out: a
`VarianceComponent` for each kind of data (or other group of samples), a factor on the
standard deviations that the editing, the weights and the realistic uncertainties all use.

Standard deviations that come with data tell the scatter of the measurement, not what the
model leaves out: millimetres are claimed where centimetres remain. Before any sample is
called an outlier it must be known how large the residuals of good samples are. Two forms
of what may be missing are tried, and the likelier is taken and named:

    "scale"   the variance is   f^2 sigma^2       (the claim is wrong by a factor)
    "excess"  the variance is   sigma^2 + tau^2   (an error of the same size for all)

First from the median of the absolute residuals, which gross errors cannot move; then
from the accepted samples, with the degrees of freedom that the estimated parameters have
used up: ``sum(r^2 / v) = sum(1 - h)``, h the leverage (the simplified form of Helmert's
equations; Koch 1999, Parameter Estimation and Hypothesis Testing in Linear Models,
sect. 3.6). A component never makes a standard deviation smaller than claimed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

__all__ = [
    "NORMAL_MEDIAN",
    "VarianceComponent",
    "estimate_component",
    "resistant_component",
    "resistant_likelihood",
]

Array = NDArray[np.float64]

# Median of the absolute value of a standard normal variable.
NORMAL_MEDIAN = 0.6744897501960817
# Density of gross errors, in units of one over the usual standard deviation.
GROSS_DENSITY = 1e-3
# A bound of a root is taken so much further out that rounding cannot put it on the wrong side.
BEYOND = 1.0 + 1e-6


@dataclass(frozen=True)
class VarianceComponent:
    """What must be done to the standard deviations of one group of samples.

    Attributes
    ----------
    group : str
        What the samples have in common: their kind, unless told otherwise.
    form : {"scale", "excess"}
        A factor on the standard deviations, or a standard deviation (SI) to be added
        in squares.
    value, uncertainty : float
        The component and its standard deviation; a factor below one means that the
        claim is on the safe side.
    """

    group: str
    form: str = "scale"
    value: float = 1.0
    uncertainty: float = np.inf

    def factor(self, sigma: Array) -> Array:
        """By what the standard deviations (n,) must be multiplied; at least one."""
        if self.form == "scale":
            return np.full(np.shape(sigma), max(1.0, self.value))
        return np.hypot(1.0, self.value / sigma)

    def __str__(self) -> str:
        size = f"{self.value:.3g}"
        if np.isfinite(self.uncertainty):
            size += f" +- {self.uncertainty:.1g}"
        if self.form == "scale":
            return f"{self.group}: standard deviations times {size}"
        return f"{self.group}: {size} (SI) added in squares to the standard deviations"


def resistant_component(group: str, residual: Array, sigma: Array, form: str) -> VarianceComponent:
    """Component from the median of the absolute residuals.

    Parameters
    ----------
    group : str
        What the samples have in common: their kind, unless told otherwise.
    residual, sigma : ndarray, shape (n,)
        Residuals, gross errors among them, and claimed standard deviations, SI.
    form : {"scale", "excess"}
        Which component.
    """
    size = np.abs(residual)
    if form == "scale":
        return VarianceComponent(group, form, float(np.median(size / sigma)) / NORMAL_MEDIAN)

    def surplus(tau: float) -> float:
        return float(np.median(size / np.hypot(sigma, tau))) - NORMAL_MEDIAN

    if surplus(0.0) <= 0.0:
        return VarianceComponent(group, form, 0.0)
    # Beyond this value every ratio is smaller than |r| / tau, so the surplus is negative.
    most = BEYOND * float(np.median(size)) / NORMAL_MEDIAN
    return VarianceComponent(group, form, float(brentq(surplus, 0.0, most)))


def resistant_likelihood(component: VarianceComponent, residual: Array, sigma: Array) -> float:
    """Logarithm of the likelihood of residuals, normal but for a few gross errors.

    The gross errors have a constant density, the same whatever the component, so that it
    does not matter how large they are. Arguments as in `resistant_component`.
    """
    spread = sigma * component.factor(sigma)
    normal = -0.5 * (residual / spread) ** 2 - np.log(spread * np.sqrt(2.0 * np.pi))
    gross = np.log(GROSS_DENSITY / np.median(sigma))
    return float(np.logaddexp(normal, gross).sum())


def estimate_component(
    group: str, residual: Array, sigma: Array, redundancy: Array, form: str
) -> VarianceComponent:
    """Component from the accepted samples of one group.

    Parameters
    ----------
    group : str
        What the samples have in common: their kind, unless told otherwise.
    residual, sigma : ndarray, shape (n,)
        Post-fit residuals and claimed standard deviations of the accepted samples, SI.
    redundancy : ndarray, shape (n,)
        One minus the leverage: the share of each sample that was not used up by the
        parameters. If next to nothing is left in all, the component cannot be known.
    form : {"scale", "excess"}
        Which component.
    """
    degrees = float(redundancy.sum())
    if degrees < 0.5:
        return VarianceComponent(group, form, 1.0 if form == "scale" else 0.0)
    if form == "scale":
        value = float(np.sqrt(((residual / sigma) ** 2).sum() / degrees))
        return VarianceComponent(group, form, value, value / np.sqrt(2.0 * degrees))

    def surplus(tau: float) -> float:
        return float((residual**2 / (sigma**2 + tau**2)).sum()) - degrees

    information = 0.5 * float((redundancy / sigma**4).sum())
    if surplus(0.0) <= 0.0:
        return VarianceComponent(group, form, 0.0, information**-0.25)
    most = BEYOND * float(np.sqrt((residual**2).sum() / degrees))
    value = float(brentq(surplus, 0.0, most))
    information = 0.5 * float((redundancy / (sigma**2 + value**2) ** 2).sum())
    return VarianceComponent(group, form, value, information**-0.5 / (2.0 * value))
