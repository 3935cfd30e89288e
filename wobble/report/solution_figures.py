"""A solution as figures: what is correlated, what was recovered, how the pole moves.

In: a `Solution`, the truth of a rehearsal, a rotation model. Out: matplotlib axes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from astropy.time import Time, TimeDelta
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, to_rgba
from numpy.typing import NDArray

from wobble.constants import DAY, MAS
from wobble.epochs import Epochs
from wobble.errors import UnknownNameError
from wobble.estimation.solution import Solution
from wobble.planet.angle_terms import NODE, OBLIQUITY, AngleTerm, Polynomial
from wobble.planet.axis_term import IntegratedAxis
from wobble.planet.pole_and_meridian import PoleAndMeridian
from wobble.planet.rotation import RotationModel
from wobble.report.style import BLUE, INK, VERMILLION, axes_or_new, legend_above, styled
from wobble.report.text import MINUS, SIGMA

__all__ = [
    "correlation_matrix",
    "errors_in_sigmas",
    "parameter_errors",
    "polar_path",
    "pole_without_precession",
]

Array = NDArray[np.float64]

WRITTEN = 0.3
"""Correlations from this size on are written into the matrix."""
MOST_WRITTEN = 30
"""Parameters up to which the numbers in the matrix can be read."""
PATH_STEP = 2 * DAY


@styled
def correlation_matrix(solution: Solution, axes: Axes | None = None) -> Axes:
    """Realistic correlations of the estimates, in hundredths, below a numbered diagonal.

    Blue is negative, vermillion positive, no colour none; the sign is in the numbers too, so
    that nothing is lost in grey. Hundredths are cut off, not rounded: 100 is never written.
    """
    names = solution.names
    p = len(names)
    few = p <= MOST_WRITTEN
    cell, letter = (0.29, 0.075) if few else (0.15, 0.055)
    width = cell * p + letter * max(map(len, names)) + 0.6
    axes = axes_or_new(axes, height=cell * p + 0.3, width=width)
    below = np.tri(p, k=-1, dtype=bool)
    correlation = np.where(below, solution.correlation, np.nan)
    edges = np.arange(p + 1) - 0.5
    axes.pcolormesh(edges, edges, np.ma.masked_invalid(correlation), cmap=_DIVERGING, clim=(-1, 1))
    written = below & (np.abs(solution.correlation) >= WRITTEN) if few else ~np.ones_like(below)
    for i, j in zip(*np.nonzero(written), strict=True):
        axes.text(j, i, _hundredths(correlation[i, j]), ha="center", va="center", fontsize=7)
    size = 9.0 if few else 6.0
    for k in range(p):
        axes.text(k, k, str(k + 1), ha="center", va="center", fontsize=size - 1.5, alpha=0.7)
    axes.set_yticks(range(p), [f"{n}  {k + 1}" for k, n in enumerate(names)], fontsize=size)
    axes.set_xticks([])
    axes.tick_params(length=0)
    axes.grid(False)
    axes.spines[:].set_visible(False)
    axes.set_aspect("equal")
    axes.invert_yaxis()
    return axes


def _hundredths(correlation: float) -> str:
    return f"{'+' if correlation > 0 else MINUS}{min(int(100.0 * abs(correlation)), 99)}"


_DIVERGING = LinearSegmentedColormap.from_list(
    "correlation",
    [
        (0.0, to_rgba(BLUE, 0.8)),
        (0.5, to_rgba(BLUE, 0.0)),
        (0.5, to_rgba(VERMILLION, 0.0)),
        (1.0, to_rgba(VERMILLION, 0.8)),
    ],
)


def errors_in_sigmas(solution: Solution, truth: Mapping[str, float]) -> Array:
    """Estimates minus truth over their realistic standard deviations, shape (p,).

    Parameters
    ----------
    solution : Solution
    truth : mapping
        True value of each estimated parameter, SI.

    Raises
    ------
    UnknownNameError
        If the truth lacks a parameter.
    """
    for name in solution.names:
        if name not in truth:
            raise UnknownNameError("parameter in the truth", name, truth)
    true = np.array([truth[name] for name in solution.names])
    return (solution.values - true) / solution.sigma_realistic


@styled
def parameter_errors(
    solution: Solution, truth: Mapping[str, float], axes: Axes | None = None
) -> Axes:
    """Estimates minus truth, in realistic standard deviations; for rehearsals.

    Parameters
    ----------
    solution, truth
        As for `errors_in_sigmas`.
    axes : Axes, optional
    """
    error = errors_in_sigmas(solution, truth)
    axes = axes_or_new(axes, height=0.24 * len(error) + 0.9)
    place = np.arange(len(error))
    for sigmas, alpha in ((3.0, 0.06), (1.0, 0.10)):
        axes.axvspan(-sigmas, sigmas, color=INK, alpha=alpha, linewidth=0)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    good = np.abs(error) <= 3.0
    for chosen, color, marker in ((good, BLUE, "o"), (~good, VERMILLION, "D")):
        axes.hlines(place[chosen], 0.0, error[chosen], color=color, linewidth=1.2)
        axes.plot(error[chosen], place[chosen], linestyle="none", color=color, marker=marker)
    axes.set_yticks(place, solution.names, fontsize=9)
    axes.invert_yaxis()
    axes.grid(False, axis="y")
    limit = max(3.6, 1.1 * float(np.abs(error).max()))
    axes.set_xlim(-limit, limit)
    axes.set_xlabel(f"estimate minus truth in realistic {SIGMA} (bands: 1 {SIGMA}, 3 {SIGMA})")
    return axes


def pole_without_precession(rotation: RotationModel, epochs: Epochs) -> Array:
    """Where the pole points on the sky with its polynomial motion taken off.

    For a computed nutation the polynomial is that of its series.

    Parameters
    ----------
    rotation : RotationModel
    epochs : Epochs, shape (n,)
        TDB.

    Returns
    -------
    offsets : ndarray, shape (n, 2)
        Along the orbit plane, ``sin(eps) dpsi``, and in obliquity, ``deps``, rad.
    """
    pole = rotation.angles(epochs)[:, [NODE, OBLIQUITY]]
    slow = sum(
        (_slow_part(term, rotation.values, epochs) for term in rotation.terms),
        np.zeros_like(pole),
    )
    moved = pole - slow
    return np.column_stack([np.sin(slow[:, 1]) * moved[:, 0], moved[:, 1]])


def _slow_part(term: AngleTerm, values: dict[str, float], epochs: Epochs) -> Array:
    """Longitude of the node and obliquity as far as a term moves them slowly, rad, (n, 2)."""
    if isinstance(term, IntegratedAxis):
        return term.secular(values, epochs)
    if isinstance(term, (Polynomial, PoleAndMeridian)):
        return term.angles(values, epochs)[:, [NODE, OBLIQUITY]]
    return np.zeros((len(epochs), 2))


@styled
def polar_path(rotation: RotationModel, start: Time, stop: Time, axes: Axes | None = None) -> Axes:
    """The pole's path on the sky, precession taken off: the nutation as it would be seen.

    Parameters
    ----------
    rotation : RotationModel
    start, stop : Time
        Span; dots mark every 100 days from its begin.
    axes : Axes, optional
    """
    axes = axes_or_new(axes, height=4.6, width=5.2)
    span = float((stop - start).to_value("s"))
    seconds = np.arange(0.0, span, PATH_STEP)
    path = _offsets_mas(rotation, start, seconds)
    marks = _offsets_mas(rotation, start, np.arange(0.0, span, 100 * DAY))
    axes.plot(*path.T, color=BLUE)
    axes.plot(*marks.T, linestyle="none", color=BLUE, marker="o", label="every 100 days")
    axes.plot(
        *marks[:1].T,
        linestyle="none",
        color=VERMILLION,
        marker="s",
        markersize=7,
        label=f"begin, {start.utc.isot[:10]}",
    )
    axes.set_aspect("equal", adjustable="datalim")
    axes.set_xlabel("in longitude, sin ε Δψ (mas)")
    axes.set_ylabel("in obliquity, Δε (mas)")
    legend_above(axes)
    return axes


def _offsets_mas(rotation: RotationModel, start: Time, seconds: Array) -> Array:
    time = start + TimeDelta(seconds, format="sec")
    return pole_without_precession(rotation, Epochs.from_time(time, "tdb")) / MAS
