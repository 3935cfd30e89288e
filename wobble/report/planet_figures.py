"""Figures of a planet's nutation and interior.

In: a nutation series, an integrated axis, samples of the interior, and matplotlib axes where the
caller has some. Out: the axes.

    axes = interior_regions(samples, "core_density")
    axes.figure.savefig("core.pdf")
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.patches import Patch
from numpy.typing import NDArray
from scipy.stats import gaussian_kde

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.errors import UnknownNameError
from wobble.planet.interior_samples import ONE_SIGMA, TWO_SIGMA, InteriorSamples
from wobble.planet.liquid_core import LiquidCore
from wobble.planet.nutation_series import NutationSeries
from wobble.planet.rigid_axis import SpinAxis
from wobble.report.style import BLUE, INK, LINES, PALETTE, VERMILLION, axes_or_new, styled
from wobble.report.text import MINUS, sized

__all__ = ["core_amplification", "interior_regions", "nutation_amplitudes", "pole_path"]

Array = NDArray[np.float64]

STANDARD_FACTOR = 0.06
"""Core factor of the curves where no core is given."""
MAIN_TERMS = 6
"""Circles that `core_amplification` draws."""
REGIONS = {
    "core_density": (1.0, "core density (kg/m³)"),
    "core_period": (DAY, "period of the free core nutation (days)"),
}
"""What the core radius can be drawn against: SI size of the unit shown, label."""
GRID = 120
"""Points along each side of the density of samples."""
SMOOTHING = 1.5
"""Width of the kernel in units of Scott's rule, for samples of a few thousand."""
SHADES = (0.25, 0.55)
"""Opacity of the outer and of the inner region."""
SMALLEST = 1e-3
"""Amplitude below which a circle is not drawn, mas."""


@styled
def core_amplification(
    series: NutationSeries,
    core: LiquidCore | None = None,
    axes: Axes | None = None,
    *,
    days: tuple[float, float] = (-350.0, -200.0),
) -> Axes:
    """How much a liquid core adds to the main circles of the nutation, against its period.

    Parameters
    ----------
    series : NutationSeries
        Of the rigid planet; the circles with the largest effect in the range are drawn.
    core : LiquidCore, optional
        Its factor is that of the curves and its period is marked; without one the factor is
        0.06.
    axes : Axes, optional
    days : (float, float)
        Range of the period of the free core nutation.
    """
    axes = axes_or_new(axes, height=3.6)
    factor = core.factor if core else STANDARD_FACTOR
    periods = np.linspace(*days, 1501)
    names, effects = _added(series, factor, periods)
    # The largest circle off the resonance sets the scale; those that fill it most are drawn.
    limit = 1.6 * float(np.nanmedian(np.abs(effects), axis=1).max())
    filled = np.nanmean(np.minimum(np.abs(effects), limit), axis=1)
    main = np.argsort(-filled)[:MAIN_TERMS]
    for place, row in enumerate(main):
        axes.plot(
            periods,
            effects[row],
            color=PALETTE[place % len(PALETTE)],
            linestyle=LINES[place % len(LINES)],
            label=names[row],
        )
    if core is not None:
        axes.axvline(core.period / DAY, color=INK, linewidth=0.8, alpha=0.6)
        axes.annotate(
            f"{core.period / DAY:.1f} d".replace("-", MINUS),
            (core.period / DAY, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-3, -10),
            textcoords="offset points",
            ha="right",
            fontsize=9,
        )
    axes.set_ylim(-limit, limit)
    axes.set_xlim(*days)
    axes.set_xlabel("period of the free core nutation, inertial (days)")
    axes.set_ylabel(f"added by the core, F = {factor:.3g} (mas)")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
    return axes


def _added(series: NutationSeries, factor: float, periods: Array) -> tuple[list[str], Array]:
    """Names of all circles and what a core adds to each, signed, mas, (2 m, periods)."""
    names, effects = [], []
    for sense, sign, circle in (
        ("prograde", 1.0, series.prograde),
        ("retrograde", -1.0, series.retrograde),
    ):
        for name, sigma, amplitude in zip(
            series.terms, sign * series.frequency, np.abs(circle), strict=True
        ):
            detuning = sigma - 2.0 * np.pi / (periods * DAY)
            with np.errstate(divide="ignore"):
                added = factor * sigma / detuning * amplitude / MAS
            # A line through the pole would join plus and minus infinity.
            added[:-1][np.diff(np.sign(detuning)) != 0.0] = np.nan
            names.append(f"{name}, {sense}")
            effects.append(added)
    return names, np.array(effects)


@styled
def nutation_amplitudes(
    series: NutationSeries, core: LiquidCore | None = None, axes: Axes | None = None
) -> Axes:
    """Prograde and retrograde amplitude of each term, with and without a liquid core.

    Parameters
    ----------
    series : NutationSeries
        Of the rigid planet.
    core : LiquidCore, optional
        Adds the amplitudes of the planet with this core.
    axes : Axes, optional
    """
    axes = axes_or_new(axes, height=3.4)
    place = np.arange(len(series.terms))
    drawn = [("rigid", series, False)]
    if core is not None:
        drawn.append(("with the core", core.amplify(series), True))
    for label, motion, filled in drawn:
        for offset, sense, color, marker in (
            (-0.12, "prograde", BLUE, "o"),
            (0.12, "retrograde", VERMILLION, "s"),
        ):
            size = np.abs(getattr(motion, sense)) / MAS
            axes.plot(
                place + offset,
                np.where(size > SMALLEST, size, np.nan),
                linestyle="none",
                color=color,
                marker=marker,
                markersize=6.5,
                markerfacecolor=color if filled else "none",
                label=f"{sense}, {label}",
            )
    names = [
        f"{name.replace(' node', chr(10) + 'node')}\n{sized(2.0 * np.pi / f / DAY, 4)} d"
        for name, f in zip(series.terms, series.frequency.tolist(), strict=True)
    ]
    axes.set_xticks(place, names, fontsize=8.5)
    axes.set_yscale("log")
    axes.set_ylabel("amplitude (mas)")
    axes.grid(False, axis="x")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
    return axes


@styled
def pole_path(
    axis: SpinAxis,
    series: NutationSeries,
    axes: Axes | None = None,
    *,
    start: float = 0.0,
    years: float = 20.0,
) -> Axes:
    """The pole's path on the sky with precession taken off.

    Parameters
    ----------
    axis : SpinAxis
        The integrated axis.
    series : NutationSeries
        Its series, whose polynomial is taken off.
    axes : Axes, optional
    start : float
        Begin, seconds since J2000.0 TDB; earlier if the axis ends before the path would.
    years : float
        Length of the path; no longer than the axis.
    """
    axes = axes_or_new(axes, height=4.8, width=5.4)
    first, last = axis.span
    length = min(years * JULIAN_YEAR, last - first)
    begin = min(max(start, first), last - length)
    path = _offsets(axis, series, begin + np.arange(0.0, length, 2.0 * DAY))
    marks = _offsets(axis, series, begin + np.arange(0.0, length, JULIAN_YEAR))
    axes.plot(*path.T, color=BLUE, linewidth=0.8)
    axes.plot(*marks.T, linestyle="none", color=BLUE, marker="o", label="every year")
    axes.plot(
        *marks[:1].T,
        linestyle="none",
        color=VERMILLION,
        marker="s",
        markersize=7,
        label=f"begin, {Epochs.of(begin).to_time().isot[0][:10]}",
    )
    axes.set_aspect("equal", adjustable="datalim")
    axes.set_xlabel("in longitude, sin ε Δψ (mas)")
    axes.set_ylabel("in obliquity, Δε (mas)")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
    return axes


def _offsets(axis: SpinAxis, series: NutationSeries, seconds: Array) -> Array:
    epochs = Epochs.of(seconds)
    moved = axis.value(epochs) - series.harmonics.secular(epochs)
    return moved * [np.sin(series.obliquity), 1.0] / MAS


@styled
def interior_regions(
    samples: InteriorSamples, against: str = "core_density", axes: Axes | None = None
) -> Axes:
    """Credible regions of the core radius and another quantity.

    The regions are those of highest density that hold 68.3 and 95.5 % of the samples (their
    density smoothed by a normal kernel); the cross marks the medians.

    Parameters
    ----------
    samples : InteriorSamples
    against : {"core_density", "core_period"}
        The ordinate.
    axes : Axes, optional

    Raises
    ------
    UnknownNameError
        If the core radius is not drawn against such a quantity.
    """
    if against not in REGIONS:
        raise UnknownNameError("quantity to draw the core radius against", against, REGIONS)
    size, label = REGIONS[against]
    points = np.stack([samples.core_radius / 1e3, samples.quantities[against] / size])
    axes = axes_or_new(axes, height=3.9, width=4.9)
    # A grid along the samples' own axes: on one along radius and ordinate, a narrow region
    # would fall between its points.
    centre, root = points.mean(axis=1, keepdims=True), np.linalg.cholesky(np.cov(points))
    whitened = np.linalg.solve(root, points - centre)
    density = gaussian_kde(whitened, lambda kde: SMOOTHING * kde.scotts_factor())
    levels = [float(np.quantile(density(whitened), 1.0 - p)) for p in (TWO_SIGMA, ONE_SIGMA)]
    across = np.linspace(-1.1, 1.1, GRID) * np.abs(whitened).max()
    grid = np.stack([g.ravel() for g in np.meshgrid(across, across)])
    found = density(grid).reshape(GRID, GRID)
    x, y = (centre + root @ grid).reshape(2, GRID, GRID)
    axes.contourf(
        x,
        y,
        found,
        levels=[*levels, float(found.max()) * 1.01],
        colors=[to_rgba(BLUE, alpha) for alpha in SHADES],
    )
    axes.contour(x, y, found, levels=levels, colors=[BLUE], linewidths=1.0)
    labels = ("95 % of the samples", "68 %")
    patches = [
        Patch(facecolor=to_rgba(BLUE, alpha), edgecolor=BLUE, label=label)
        for alpha, label in zip(SHADES, labels, strict=True)
    ]
    axes.legend(
        handles=patches[::-1],
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=2,
        borderaxespad=0.2,
    )
    axes.plot(*np.median(points, axis=1), color=INK, marker="+", markersize=9, linestyle="none")
    inside = found >= levels[0]
    axes.set_xlim(*_around(x[inside]))
    axes.set_ylim(*_around(y[inside]))
    axes.set_xlabel("core radius (km)")
    axes.set_ylabel(label)
    return axes


def _around(values: Array) -> tuple[float, float]:
    margin = 0.12 * float(np.ptp(values))
    return float(values.min()) - margin, float(values.max()) + margin
