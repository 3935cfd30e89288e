"""Noise on the back of an envelope: each contribution of the budget at one place of the link.

In: a noise budget and the conditions of a link. Out: `HandLine`s, range rate one-way for a count
T, with f the downlink and c/2 the one-way equivalent of a two-way frequency:

    thermal         c / (2 pi f) sqrt(B N0/C) / (sqrt(2) T): white phase at both ends of a count
    clock           c/2 sqrt(2) sigma_y(1 s) / sqrt(T): white frequency, sent and received
    Kolmogorov      sigma_v = 1.56 c sigma_y(1000 s) (T / 1000 s)^(-1/6): a structure function that
                    grows as T^(5/3) has D(T)/T^2 = 1.56^2 times its Allan variance
    white           sigma sqrt(60 s / T)

The program's number comes from the covariance of two counts, as in the weights of a fit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from wobble.check.lines import HandLine
from wobble.constants import SPEED_OF_LIGHT
from wobble.noise.budget import Budget
from wobble.noise.budget_table import LinkConditions

__all__ = ["noise_lines"]

SINGLE_COUNT = 1.56
"""Standard deviation over Allan deviation for a structure function of power 5/3."""
X_DOWN = 8.4e9
"""The X-band downlink of published levels, Hz (from memory)."""

Pencil = tuple[float, str, tuple[float, float], str]
"""m or m/s, formula with numbers, range of the ratio, what is left out."""


def noise_lines(budget: Budget, conditions: LinkConditions) -> list[HandLine]:
    """A line for each contribution that has a first-order formula."""
    lines = []
    parts = budget.alone().items()
    for (name, part), contribution in zip(parts, budget.contributions, strict=True):
        formula = FORMULAS.get(contribution.name)
        if formula is None or not contribution.scale:
            continue
        pencil, text, expected, neglects = formula(contribution, conditions)
        if not pencil:
            continue
        on_range = contribution.name in ON_RANGE
        geometry = (
            conditions.single_range()
            if on_range
            else conditions.contiguous_counts(conditions.count_time)
        )
        factor, unit = (1.0, "m") if on_range else (1e3, "mm/s")
        where = f" at {np.degrees(conditions.sun_angle):.3g} deg from the Sun"
        lines.append(
            HandLine(
                f"noise: {name.replace('_', ' ')}{where if name == 'solar_plasma' else ''}",
                text,
                factor * contribution.scale * pencil,
                factor * float(part.sigma(geometry)[0]),
                unit,
                expected,
                neglects,
            )
        )
    return lines


def _thermal(c: Any, at: LinkConditions) -> Pencil:
    density, f, bandwidth = c.carrier_to_noise_density_db, c.downlink_frequency, c.loop_bandwidth
    jitter = np.sqrt(bandwidth / 10.0 ** (density / 10.0))
    pencil = SPEED_OF_LIGHT / (2.0 * np.pi * f) * jitter / (np.sqrt(2.0) * at.count_time)
    if c.second_downlink_frequency:
        weight = f**2 / (f**2 - c.second_downlink_frequency**2)
        pencil *= np.hypot(weight, (1.0 - weight) * f / c.second_downlink_frequency)
    text = (
        f"c/(2 pi {f / 1e9:.2f} GHz) sqrt({bandwidth:g} Hz / 10^{density / 10.0:g} Hz) "
        f"/ (sqrt(2) {at.count_time:g} s)"
    )
    return pencil, text, (0.9, 1.1), "the second carrier's own density"


def _clock(c: Any, at: LinkConditions) -> Pencil:
    sigma, count = c.white_frequency, at.count_time
    pencil = SPEED_OF_LIGHT / np.sqrt(2.0) * sigma / np.sqrt(count)
    text = f"c/2 sqrt(2) {sigma:.2g} / sqrt({count:g})"
    return pencil, text, (0.95, 1.6), "the flicker floor"


def _transponder(c: Any, at: LinkConditions) -> Pencil:
    text = f"{1e3 * c.range_rate:.3g} mm/s sqrt(60 s / {at.count_time:g} s)"
    return c.range_rate * np.sqrt(60.0 / at.count_time), text, (0.98, 1.02), "nothing"


def _plasma(c: Any, at: LinkConditions) -> Pencil:
    sine = np.sin(at.sun_angle)
    published = 1.76e-14 * sine**-1.98 + 6.25e-14 * sine**0.06
    band = (X_DOWN / c.downlink_frequency) ** 2
    slower = (at.count_time / 1000.0) ** (-1.0 / 6.0)
    pencil = SPEED_OF_LIGHT / 2.0 * published * band * SINGLE_COUNT * slower
    text = (
        f"1.56 c/2 {published:.2g} ({at.count_time:g} s / 1000 s)^(-1/6) "
        f"(8.4 GHz / {c.downlink_frequency / 1e9:.2f} GHz)^2"
    )
    return pencil, text, (0.6, 1.6), "the outer scale; the two legs see partly the same plasma"


def _wet_troposphere(c: Any, at: LinkConditions) -> Pencil:
    level, sine = c.allan_deviation * c.residual, np.sin(at.elevation)
    slower = (at.count_time / 1000.0) ** (-1.0 / 6.0)
    pencil = SPEED_OF_LIGHT / np.sqrt(2.0) * level / sine * SINGLE_COUNT * slower
    text = (
        f"1.56 c/sqrt(2) {level:.2g} / sin({np.degrees(at.elevation):.3g} deg) "
        f"({at.count_time:g} s / 1000 s)^(-1/6)"
    )
    return pencil, text, (0.7, 1.3), "the outer scale"


def _mechanics(c: Any, at: LinkConditions) -> Pencil:
    pencil = SPEED_OF_LIGHT / 2.0 * c.allan_deviation * np.sqrt(1000.0 / at.count_time)
    text = f"c/2 {c.allan_deviation:.2g} sqrt(1000 s / {at.count_time:g} s)"
    return pencil, text, (0.9, 1.1), "the saturation after hours"


def _white_range_rate(c: Any, at: LinkConditions) -> Pencil:
    text = f"{1e3 * c.sigma:.3g} mm/s sqrt(60 s / {at.count_time:g} s)"
    return c.sigma * np.sqrt(60.0 / at.count_time), text, (0.98, 1.02), "nothing"


def _range_thermal(c: Any, at: LinkConditions) -> Pencil:
    density, clock = c.ranging_power_to_noise_density_db, c.clock_frequency
    jitter = 1.0 / np.sqrt(2.0 * c.integration_time * 10.0 ** (density / 10.0))
    text = (
        f"c/(4 pi {clock / 1e6:.3g} MHz) / sqrt(2 x {c.integration_time:g} s "
        f"x 10^{density / 10.0:g} Hz)"
    )
    return SPEED_OF_LIGHT / (4.0 * np.pi * clock) * jitter, text, (0.98, 1.02), "nothing"


ON_RANGE = ("range_thermal",)
FORMULAS: dict[str, Callable[[Any, LinkConditions], Pencil]] = {
    "thermal_phase": _thermal,
    "frequency_standard": _clock,
    "transponder": _transponder,
    "solar_plasma": _plasma,
    "wet_troposphere": _wet_troposphere,
    "antenna_mechanics": _mechanics,
    "white_range_rate": _white_range_rate,
    "range_thermal": _range_thermal,
}
"""By the name of the contribution."""
