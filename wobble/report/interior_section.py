"""The section of a report on the inside of the planet, and its figure.

In: a campaign on a body of which enough is known (`wobble.files.interior_file`) and a solution
with the precession rate. Out: an `Inside`: polar moment of inertia, and with the core's parameters
samples of core radius and density; the section and the figure that show it.

Of a core nothing is inferred if the data say nothing of it: then it would be the a priori value
that speaks, and the section says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wobble.campaign.campaign import Campaign
from wobble.errors import WobbleError
from wobble.estimation.core_estimate import NAMES, CoreEstimate
from wobble.estimation.solution import Solution
from wobble.files.body_file import read_nutation_setup
from wobble.files.interior_file import READY_MADE, read_interior
from wobble.planet.interior import PolarMoment
from wobble.planet.interior_samples import InteriorSamples
from wobble.report.content import Section, Table
from wobble.report.text import rounded, sized

__all__ = ["Inside", "infer_inside", "interior_section"]

SAMPLES = 4000
SHOWN = {
    "core_radius": ("core radius", 1e3, "km"),
    "core_density": ("core density", 1.0, "kg/m³"),
    "core_moment": ("core's part of the moment", 1.0, ""),
    "mantle_density": ("mantle density", 1.0, "kg/m³"),
}
"""Quantities of the table: what they are, divisor, unit."""


@dataclass(frozen=True, eq=False)
class Inside:
    """What a solution says of the inside of its planet.

    Parameters
    ----------
    moment : PolarMoment
    improved : bool
        Whether the data, and not only the a priori value, tell of the precession rate.
    samples : InteriorSamples or None
        Of the core and the mantle.
    why_no_core : str
        Why there are none, in words.
    leaning : tuple of str
        Parameters that are limited a priori.
    """

    moment: PolarMoment
    improved: bool
    samples: InteriorSamples | None = None
    why_no_core: str = ""
    leaning: tuple[str, ...] = ()


def infer_inside(campaign: Campaign, solution: Solution | None) -> Inside | None:
    """The inference, as `wobble interior` makes it; None where body or solution do not allow it.

    Parameters
    ----------
    campaign : Campaign
    solution : Solution or None
    """
    name = campaign.body.name
    if solution is None or name not in READY_MADE or NAMES[0] not in solution:
        return None
    assumed, estimate = read_interior(name), CoreEstimate.of(solution)
    budget = read_nutation_setup(assumed.nutation).compute().budget()
    try:
        moment = estimate.polar_moment(budget, assumed.figure)
    except WobbleError:
        return None  # a rate for which there is no planet: the report shows the rate itself
    improved = solution[NAMES[0]].improved
    missing = [name for name in NAMES[1:] if name not in solution]
    if missing:
        return Inside(moment, improved, None, f"without an estimate of {' and '.join(missing)}")
    silent = [name for name in NAMES[1:] if not solution[name].improved]
    if silent:
        return Inside(moment, improved, None, f"the data say nothing of {' and '.join(silent)}")
    try:
        rng = np.random.default_rng(campaign.seed)
        samples = estimate.interior(budget, assumed.figure, assumed.mantle, rng, samples=SAMPLES)
    except WobbleError as error:
        return Inside(moment, improved, None, str(error))
    leaning = tuple(name for name in NAMES if name in solution.a_priori_limited)
    return Inside(moment, improved, samples, leaning=leaning)


def interior_section(inside: Inside | None) -> Section:
    """Moment of inertia and core, with every assumption."""
    section = Section("interior", "Interior")
    if inside is None:
        return section
    value, sigma = rounded(inside.moment.moment, inside.moment.moment_sigma)
    section.text.append(
        f"The precession rate stands for a polar moment of inertia C/MR² of {value} ± {sigma} "
        f"(dynamical flattening {inside.moment.flattening:.6f} ± "
        f"{sized(inside.moment.flattening_sigma)}), the gravity field being known."
        + ("" if inside.improved else " The data do not improve on the a priori rate.")
    )
    if inside.samples is None:
        section.text.append(f"Of the core nothing is inferred: {inside.why_no_core}.")
        return section
    section.text.append(
        "An inference under assumptions, not a measurement: samples are drawn from the estimates "
        "with their realistic covariance, and each is solved for a core and a mantle."
    )
    if inside.leaning:
        section.points.append(
            f"Limited a priori, and what follows with it: {', '.join(inside.leaning)}."
        )
    section.points.extend(note.replace("+-", "±") for note in inside.samples.notes())
    section.tables.append(
        Table(
            "Core and mantle",
            ("quantity", "median", "68 % from", "to", "unit"),
            [_row(inside.samples, name) for name in SHOWN],
            (1, 2, 3),
            stacked=True,
        )
    )
    return section


def _row(samples: InteriorSamples, name: str) -> tuple[str, ...]:
    title, size, unit = SHOWN[name]
    numbers = (samples.median(name), *samples.interval(name))
    return (title, *(sized(number / size, 4) for number in numbers), unit)
