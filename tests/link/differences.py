"""A link with every delay, any parameter of it changed, and central differences.

In: the name of a parameter and a step. Out: the link with that parameter changed; the sizes of
steps that judge a derivative to 1e-6.
"""

from dataclasses import replace

import numpy as np
import scene

from wobble.link.delays import (
    AxisOffset,
    FixedDelay,
    GravitationalDelay,
    Ionosphere,
    RadioTroposphere,
    SolarCorona,
    Weather,
)
from wobble.link.lander_air import PlanetAtmosphere
from wobble.link.observables import Link
from wobble.link.plasma import SPHERICAL_CORONA

UP, DOWN = 7.18e9, 7.18e9 * 880 / 749


def full_link(n, transmitter, receiver, *, lander, **changed):
    """Every delay, its parameters as changed."""
    ephemeris = lander.ephemeris
    up, down = np.full(n, UP), np.full(n, DOWN)
    wet = {s.station.name: 0.02 for s in (transmitter, receiver)}
    wet |= {k.split(".")[1]: 0.02 + v for k, v in changed.items() if k.endswith("zenith_wet_delay")}
    content = 3e17 + changed.get("ionosphere.content", 0.0)
    corona = 1.0 + changed.get("corona.scale", 0.0)
    transponder, electronics = "lander.ridge.transponder_delay", "station.plateau.delay"
    delays = [
        GravitationalDelay(ephemeris, ["sun", "earth"]),
        FixedDelay(1e-6 + changed.get(transponder, 0.0), True, transponder),
        FixedDelay(2e-7 + changed.get(electronics, 0.0), False, electronics),
        RadioTroposphere(transmitter, receiver, Weather.unknown(n), wet),
        Ionosphere(transmitter, receiver, content, up, down),
        SolarCorona(ephemeris, SPHERICAL_CORONA, corona, up, down),
        PlanetAtmosphere(lander, 0.04),
        AxisOffset(transmitter, receiver, {"plateau": 2.0}),
    ]
    offsets = {k.split(".")[1]: v for k, v in changed.items() if k.endswith("clock_offset")}
    return Link(transmitter, lander, receiver, delays, offsets)


def changed_link(name, step, n, lander, transmitter, receiver):
    """The link with one parameter changed by ``step``."""
    rotation = lander.body.orientation.values
    if name in rotation:
        body = lander.body.with_rotation({name: rotation[name] + step})
        return full_link(n, transmitter, receiver, lander=replace(lander, body=body))
    kind, _, quantity = name.split(".") if name.count(".") == 2 else (name, "", "")
    if kind == "lander" and quantity in "xyz":
        moved = lander.lander.position + step * np.eye(3)["xyz".index(quantity)]
        return full_link(
            n, transmitter, receiver, lander=replace(lander, lander=lander.lander.moved(moved))
        )
    if kind == "ephemeris":
        axis = ("radial", "transverse", "normal").index(quantity)
        offset = tuple(step * np.eye(3)[axis])
        return full_link(n, transmitter, receiver, lander=replace(lander, orbit_offset=offset))
    if kind == "station" and quantity in "xyz":
        place = name.split(".")[1]
        ends = [
            replace(
                end,
                station=replace(
                    end.station,
                    position=end.station.position + step * np.eye(3)["xyz".index(quantity)],
                ),
            )
            if end.station.name == place
            else end
            for end in (transmitter, receiver)
        ]
        return full_link(n, *ends, lander=lander)
    return full_link(n, transmitter, receiver, lander=lander, **{name: step})


# Steps that change a range by hundreds of metres, so that its rounding does not count, and
# stay so small that the fifth derivative does not.
STEPS = {name: 1e-3 for name in scene.mars().orientation.values}
STEPS |= {
    "pole.precession_rate": 1e-12,
    "pole.obliquity_rate": 1e-12,
    "spin.rate": 1e-12,
    "spin.acceleration": 3e-21,
    "polar_motion.chandler_period": 5e3,
    "core.factor": 1e3,
    "core.period": 1e4,
    "ionosphere.content": 1e21,
    "corona.scale": 1e3,
    "lander.ridge.transponder_delay": 1e-3,
    "station.plateau.delay": 1e-3,
    "station.plateau.zenith_wet_delay": 1e3,
}
STEPS |= {f"lander.ridge.{axis}": 1e4 for axis in "xyz"}
STEPS |= {f"ephemeris.mars.{axis}": 1e5 for axis in ("radial", "transverse", "normal")}
STEPS |= {f"station.plateau.{axis}": 1e3 for axis in "xyz"}
# Both are periods of small motions, which rounding hides: larger motions for their sake.
ENLARGED = {
    "core.period": {"core.factor": 1e4},
    "polar_motion.chandler_period": {
        "polar_motion.chandler_cos": 3e-3,
        "polar_motion.chandler_sin": 3e-3,
    },
}


def central_difference(function, h):
    """Five points: exact for polynomials of degree four."""
    return (8 * (function(h) - function(-h)) - (function(2 * h) - function(-2 * h))) / (12 * h)


def rms(values):
    return np.sqrt(np.mean(values**2))
