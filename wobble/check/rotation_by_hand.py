"""What comes out, on the back of an envelope: precession rate and moment of inertia.

In: a `Scene`, and the standard deviation that the program gives to the precession rate. Out:
`HandLine`s.

1. *Sigma of the precession rate.* N passes over a span T, each giving one mean range rate with a
   standard deviation s. The node moves the range rate by A = Omega R cos(latitude) sin(eps)
   sin(D)/2 where only it does: D, the largest declination of the Earth, is about eps; the
   rest looks like the spin. A straight line through N values has the slope's standard deviation
   ``sqrt(12) s / (A T sqrt(N))``. s is c/2 times the Allan deviation over a pass, and the pass's
   own bias in squares. The same line gives the node at the middle of the span, to
   ``s / (A sqrt(N))``: with the node as it was known at another epoch it gives a second rate,
   ``sqrt(sigma_now^2 + sigma_then^2)`` over the years between, and the rate itself may have been
   known. The rates add in inverse squares. It takes a year of the planet to tell node from spin.
2. *Precession and moment of inertia.* ``-3/2 n^2/Omega H_D cos(eps) (1 - e^2)^(-3/2)`` by the Sun
   alone, ``C/(M R^2) = J2 / H_D``; relativity adds ``3/2 G M n / (c^2 a (1 - e^2))``.
"""

from __future__ import annotations

import numpy as np

from wobble.check.lines import HandLine
from wobble.check.scene import AU, Scene
from wobble.constants import DAY, JULIAN_YEAR, MAS, SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.estimation.least_squares import SquareRootInformation
from wobble.files.body_file import read_nutation_setup
from wobble.files.interior_file import READY_MADE, read_interior
from wobble.noise.budget_table import LinkConditions, allan_deviation
from wobble.planet.interior import polar_moment, precession_by_hand

__all__ = ["moment_lines", "precision_lines"]

RATE = JULIAN_YEAR / MAS
"""From rad/s to mas/yr."""
SUN_LENGTH = 1477.0
"""GM/c^2 of the Sun, m (from memory)."""
NAME = "pole.precession_rate"


def precision_lines(
    scene: Scene, sigma: float, passes: int, pass_length: float, conditions: LinkConditions
) -> list[HandLine]:
    """Sigma of the precession rate from noise, span and number of passes.

    Parameters
    ----------
    scene : Scene
    sigma : float
        The program's, formal, rad/s.
    passes : int
    pass_length : float
        s.
    conditions : LinkConditions
        Of the median pass.
    """
    rotation, budget, orbit = scene.rotation, scene.campaign.budget, scene.orbit
    if rotation is None or budget is None or "pole.obliquity" not in rotation.values:
        return []
    if orbit is None or scene.length < orbit.period * DAY:
        return []
    place = scene.network.landers[scene.lander].position
    tilt, spin = rotation.values["pole.obliquity"], rotation.values["spin.rate"]
    by_node = abs(spin) * float(np.hypot(*place[:2])) * np.sin(tilt) ** 2 / 2.0
    noise = SPEED_OF_LIGHT / 2.0 * float(allan_deviation(budget, conditions, [pass_length])[0])
    one_pass = float(np.hypot(noise, scene.campaign.biases.range_rate or 0.0))
    node = one_pass / (by_node * np.sqrt(passes))
    slope = np.sqrt(12.0) * node / scene.length
    before = _by_what_was_known(scene, node)
    pencil = 1.0 / np.hypot(1.0 / slope, 1.0 / before)
    return [
        HandLine(
            "sigma of the precession rate",
            f"sqrt(12) {1e3 * one_pass:.2g} mm/s / ({by_node:.3g} m/s "
            f"{scene.length / JULIAN_YEAR:.2f} yr sqrt({passes})) = {slope * RATE:.3g} mas/yr, "
            f"{before * RATE:.3g} mas/yr by the known node and that of now ({node / MAS:.2g} mas)",
            pencil * RATE,
            sigma * RATE,
            "mas/yr",
            (0.6, 2.0),
            "what other parameters take of it, what ranges add",
        )
    ]


def _by_what_was_known(scene: Scene, node: float) -> float:
    """The rate's standard deviation by a priori knowledge and the node's in mid-campaign, rad/s."""
    estimated = scene.campaign.parameters.estimated
    rows, _ = estimated.a_priori_rows()
    now = np.zeros(len(estimated))
    since = float(Epochs.from_time(scene.days[-1:]).since_j2000[0]) - scene.length / 2.0
    if "pole.node_longitude" in estimated:
        now[[estimated.place("pole.node_longitude"), estimated.place(NAME)]] = 1.0, since
    rows = np.vstack([rows, now / node])
    information = SquareRootInformation.nothing(estimated.names)
    information.absorb(np.column_stack([rows, np.zeros(len(rows))]))
    return float(information.sigma()[estimated.place(NAME)])


def moment_lines(scene: Scene) -> list[HandLine]:
    """Precession by relativity, and the moment of inertia that the precession rate stands for."""
    rotation, orbit, body = scene.rotation, scene.orbit, scene.network.body
    if rotation is None or orbit is None or body.name not in READY_MADE:
        return []
    if NAME not in rotation.values or "pole.obliquity" not in rotation.values:
        return []
    assumed = read_interior(body.name)
    budget = read_nutation_setup(assumed.nutation).compute().budget()
    rate, tilt = rotation.values[NAME], rotation.values["pole.obliquity"]
    motion, e = 2.0 * np.pi / (orbit.period * DAY), orbit.eccentricity
    geodetic = 1.5 * SUN_LENGTH * motion / (orbit.radius * AU * (1.0 - e**2))
    spin = rotation.values["spin.rate"]
    flattening = (rate - geodetic) / precession_by_hand(1.0, motion, e, tilt, spin)
    j2 = float(assumed.figure.j2)
    return [
        HandLine(
            "precession by relativity",
            f"3/2 1.477 km n / ({orbit.radius:.3f} au (1 - {e:g}^2)), "
            f"n = 360 deg / {orbit.period:g} d",
            geodetic * RATE,
            budget.geodetic * RATE,
            "mas/yr",
            (0.99, 1.01),
            "nothing that counts",
        ),
        HandLine(
            f"C/MR^2 for {rate * RATE:.1f} mas/yr",
            f"J2/H_D = {j2:.6f} / {flattening:.6f}, H_D by 3/2 n^2/Omega cos(eps) (1 - e^2)^-1.5",
            j2 / flattening,
            polar_moment(rate, 0.0, budget, assumed.figure).moment,
            "",
            (0.998, 1.002),
            "the planets' torque",
        ),
    ]
