"""Two solutions side by side as figures: their differences, their residuals' spectra.

In: a `Comparison`, or two solutions of the same data with and without some terms. Out:
matplotlib axes.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from wobble.estimation.comparison import Comparison
from wobble.estimation.model_comparison import residual_spectrum
from wobble.estimation.solution import Solution
from wobble.measurements.kinds import kind_named
from wobble.report.style import (
    BLUE,
    INK,
    VERMILLION,
    axes_or_new,
    legend_above,
    styled,
)
from wobble.report.text import SIGMA

__all__ = ["differences", "residual_spectra"]

Array = NDArray[np.float64]


@styled
def differences(comparison: Comparison, axes: Axes | None = None) -> Axes:
    """Second minus first estimate, and both uncertainties, in the first's standard deviations.

    Parameters
    ----------
    comparison : Comparison
    axes : Axes, optional
    """
    names = comparison.names
    axes = axes_or_new(axes, height=0.3 * len(names) + 1.1)
    place = np.arange(len(names))
    axes.errorbar(
        np.zeros(len(names)), place - 0.12, xerr=1.0, fmt="o", color=INK, alpha=0.6, label="first"
    )
    axes.errorbar(
        comparison.in_first_sigmas,
        place + 0.12,
        xerr=comparison.sigma_ratio,
        fmt="D",
        color=VERMILLION,
        label="second",
    )
    axes.set_yticks(place, names, fontsize=9)
    axes.invert_yaxis()
    axes.grid(False, axis="y")
    axes.set_xlabel(f"difference in {SIGMA} of the first")
    legend_above(axes)
    return axes


@styled
def residual_spectra(
    without: Solution, with_terms: Solution, kind: str, periods: Array, axes: Axes | None = None
) -> Axes:
    """Amplitudes of sines in the residuals, without and with the terms in question.

    Parameters
    ----------
    without, with_terms : Solution
        The smaller and the larger model.
    kind : str
        Kind of data.
    periods : ndarray, shape (m,)
        Days.
    axes : Axes, optional
    """
    axes = axes_or_new(axes, height=3.0)
    spectra = [residual_spectrum(one, kind, periods) for one in (without, with_terms)]
    unit, scale = kind_named(kind).fitting_unit(float(np.max(spectra)))
    for spectrum, label, color, line in zip(
        spectra,
        ("without the terms", "with the terms"),
        (VERMILLION, BLUE),
        ("--", "-"),
        strict=True,
    ):
        axes.plot(periods, spectrum / scale, color=color, linestyle=line, label=label)
    axes.set_xscale("log")
    axes.set_xlabel("period (days)")
    axes.set_ylabel(f"amplitude, {kind_named(kind).label} ({unit})")
    axes.set_ylim(bottom=0.0)
    legend_above(axes)
    return axes
