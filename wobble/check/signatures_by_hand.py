"""Signature of each rotation parameter on the back of an envelope.

In: a `Scene`. Out: a `HandLine` for each estimated parameter of the rotation and of the lander's
place: the largest effect of one unit over the campaign, by the first-order formulas of Yseboodt,
Dehant & Peters 2017, Planet. Space Sci. 144, 74 (see `wobble.campaign.sensitivity`) and by the
partial derivatives of the full model.
"""

from __future__ import annotations

import numpy as np

from wobble.campaign.sensitivity import first_order, signatures
from wobble.check.lines import HandLine
from wobble.check.scene import Scene, degrees, over
from wobble.constants import JULIAN_YEAR
from wobble.epochs import Epochs

__all__ = ["signature_lines"]

EPOCHS = 300
"""Over the span; prime to no day, so that every hour angle occurs."""
BY_ANGLE = {
    "spin": "R cos(th) cos(d) sin(H)",
    "pole.obliquity": "R [sin(th) cos(d) sin(al) - cos(th) sin(L) sin(d)]",
    "pole": "cos(eps) d/dphi + R sin(eps) [cos(th) cos(L) sin(d) - sin(th) cos(d) cos(al)]",
    "polar_motion": "R [sin(th) cos(d) cos(al - phi) - cos(th) cos(lon) sin(d)]",
    "core": "core's part of nutation in node and obliquity",
    "nutation": "nutation in node and obliquity",
    "lander": "1 m toward the Earth",
}
"""Range by one radian of the angle that a parameter belongs to; H = L - al."""


def signature_lines(scene: Scene) -> list[HandLine]:
    """A line for each estimated parameter that turns the body or moves the lander."""
    rotation = scene.rotation
    if rotation is None:
        return []
    place = {f"lander.{scene.lander}.{axis}" for axis in "xyz"}
    known = place.union(rotation.values)
    wanted = [name for name in scene.campaign.parameters.estimated.names if name in known]
    if not wanted:
        return []
    tags = over(scene.days[0], scene.length, EPOCHS)
    link = scene.link(scene.empty, tags)
    full, simple = signatures(link, tags, wanted), first_order(link, tags, wanted)
    lines = []
    for k, name in enumerate(full.names):
        on_range = name.startswith(("lander.", "polar_motion."))
        scale, unit = (1.0, "m") if on_range else (1e3, "mm/s")
        exact, formula = (
            (full.range, simple.range) if on_range else (full.range_rate, simple.range_rate)
        )
        lines.append(
            HandLine(
                f"signature of {name}, per {full.units[k].replace(' ', '') or 'unit'}",
                f"largest {'' if on_range else 'd/dt '}{_formula(name)}{_numbers(scene, name)}",
                scale * float(np.abs(formula[:, k]).max()),
                scale * float(np.abs(exact[:, k]).max()),
                unit,
                (0.99, 1.01),
                "terms in v/c, and the angle between the two legs",
            )
        )
    return lines


def _formula(name: str) -> str:
    return next(text for prefix, text in BY_ANGLE.items() if name.startswith(prefix))


def _numbers(scene: Scene, name: str) -> str:
    """What is put into the formula of a parameter."""
    if name.startswith("lander"):
        return ""
    place = scene.network.landers[scene.lander].position
    radius = float(np.linalg.norm(place))
    years = float(Epochs.from_time(scene.days[-1:]).since_j2000[0]) / JULIAN_YEAR
    grown = f", times {years:.1f} yr" if name.endswith("_rate") or name == "spin.rate" else ""
    return f", R = {radius / 1e3:.0f} km, th = {degrees(np.arcsin(place[2] / radius))}{grown}"
