"""Residuals of many passes against a noise budget: spectrum and Allan deviation.

In: a `ResidualNoise` and the scenario's budget. Out: matplotlib axes. Bars are standard errors
that hold the scatter between passes.
"""

from __future__ import annotations

from matplotlib.axes import Axes

from wobble.campaign.residual_noise import ResidualNoise
from wobble.noise.budget import Budget
from wobble.noise.pooled import PooledResiduals, pooled_allan_deviation, pooled_spectrum
from wobble.report.style import (
    INK,
    LINES,
    PALETTE,
    axes_or_new,
    legend_above,
    short_log_axis,
    styled,
)

__all__ = ["residual_allan_deviation", "residual_spectrum"]


@styled
def residual_spectrum(
    noise: ResidualNoise, budget: Budget | None = None, axes: Axes | None = None
) -> Axes:
    """Spectral density of range-rate residuals, with the levels found and a budget's.

    Parameters
    ----------
    noise : ResidualNoise
    budget : Budget, optional
        What was assumed, the scenario's.
    axes : Axes, optional
    """
    axes = axes_or_new(axes)
    spectrum = pooled_spectrum([one.pair for one in noise.passes], _budgets(noise, budget))
    # From (m/s)^2/Hz to (mm/s)^2/Hz.
    _draw(axes, spectrum, 1e6)
    axes.set_xlabel("frequency (Hz)")
    axes.set_ylabel("spectral density ((mm/s)²/Hz)")
    return axes


@styled
def residual_allan_deviation(
    noise: ResidualNoise, budget: Budget | None = None, axes: Axes | None = None
) -> Axes:
    """Allan deviation of the received frequency from residuals; parameters as before."""
    axes = axes_or_new(axes)
    pairs = [one.pair for one in noise.passes]
    _draw(axes, pooled_allan_deviation(pairs, _budgets(noise, budget)), 1.0)
    axes.set_xlabel("averaging time (s)")
    axes.set_ylabel("Allan deviation")
    return axes


def _budgets(noise: ResidualNoise, budget: Budget | None) -> dict[str, Budget]:
    found = {"levels found": noise.budget}
    return found if budget is None else {**found, "budget of the scenario": budget}


def _draw(axes: Axes, pooled: PooledResiduals, scale: float) -> None:
    axes.errorbar(
        pooled.place,
        scale * pooled.value,
        scale * pooled.error,
        fmt="o",
        color=INK,
        label=f"residuals of {pooled.passes} passes",
    )
    for k, (name, curve) in enumerate(pooled.expected.items()):
        axes.plot(
            pooled.place, scale * curve, color=PALETTE[k], linestyle=LINES[k], label=name, zorder=0
        )
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        short_log_axis(axis)
    legend_above(axes)
