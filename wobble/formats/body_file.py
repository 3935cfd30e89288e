"""Bodies from files: their size, mass, rotation and tides.

In: the name of a ready-made body (``"mars"``, ``"moon"``) or the path of a TOML file of
the same form. Out: a `Body`.

The ready-made files in ``wobble/planet/data`` are the description of the format: every
key, with its unit and its source.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from wobble.ephemeris import de421_table
from wobble.errors import UnknownNameError
from wobble.formats.toml_section import Section, read_toml
from wobble.planet.angle_terms import AngleTerm, Harmonics, Nutation, Polynomial, Wobble
from wobble.planet.body import Body
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import Orientation, RotationModel, TabulatedLibration

__all__ = ["READY_MADE", "read_body"]

DATA = files("wobble.planet") / "data"
READY_MADE = ("mars", "moon")
SEASONS = ("annual", "semiannual", "terannual", "quarterannual")
ORIENTATIONS = ("angles", "librations of DE421")
NODE, OBLIQUITY, SPIN, POLAR_X, POLAR_Y = range(5)


def read_body(name: str) -> Body:
    """A ready-made body by name, or a body from a file.

    Parameters
    ----------
    name : str
        ``"mars"``, ``"moon"`` or the path of a TOML file.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    path = Path(str(DATA / f"{name}.toml")) if name in READY_MADE else Path(name)
    if not path.suffix:
        raise UnknownNameError("body", name, [*READY_MADE, "the path of a body file"])
    top = read_toml(path)
    body = Body(
        name=top.text("name"),
        gm=top.quantity("gm", "m3 / s2"),
        equatorial_radius=top.quantity("equatorial_radius", "m"),
        polar_radius=top.quantity("polar_radius", "m"),
        orientation=_orientation(top),
        love_h2=top.number("love_h2", 0.0),
        love_l2=top.number("love_l2", 0.0),
        tide_raisers=tuple(top.texts("tide_raisers", ["sun"])),
    )
    top.finish()
    return body


def _orientation(top: Section) -> Orientation:
    form = top.text("orientation")
    if form == "librations of DE421":
        return TabulatedLibration(de421_table("librations"))
    if form == "angles":
        return _rotation(top.section("rotation"))
    raise top.error("orientation", "is unknown", form, " or ".join(ORIENTATIONS))


def _rotation(section: Section) -> RotationModel:
    phase = section.quantity("season_phase", "rad")
    rate = section.quantity("season_rate", "rad / s")
    given = section.section("parameters")
    values = {name: given.quantity(name, unit_of(name).si) for name in given.keys()}
    given.finish()
    terms = rotation_terms(list(values), phase, rate)
    for row in section.sections("nutation"):
        multiple = row.integer("multiple")
        terms.append(
            Nutation(
                frequency=multiple * rate,
                phase=multiple * phase + row.quantity("offset", "rad"),
                longitude=row.quantity("longitude", "rad"),
                obliquity=row.quantity("obliquity", "rad"),
                mean_obliquity=values["pole.obliquity"],
            )
        )
        row.finish()
    model = RotationModel(
        plane_node=section.quantity("plane_node", "rad"),
        plane_inclination=section.quantity("plane_inclination", "rad"),
        terms=tuple(terms),
        values=values,
    )
    section.finish()
    return model


def rotation_terms(names: list[str], phase: float, rate: float) -> list[AngleTerm]:
    """The terms that the given parameters belong to.

    Powers of time, harmonics of the season's argument, and the free wobble.
    """
    powers = (
        (NODE, ("pole.node_longitude", "pole.precession_rate")),
        (OBLIQUITY, ("pole.obliquity", "pole.obliquity_rate")),
        (SPIN, ("spin.angle", "spin.rate", "spin.acceleration")),
    )
    terms: list[AngleTerm] = [
        Polynomial(angle, tuple(n for n in wanted if n in names)) for angle, wanted in powers
    ]
    angles = (("spin.", SPIN), ("polar_motion.x_", POLAR_X), ("polar_motion.y_", POLAR_Y))
    for prefix, angle in angles:
        for multiple, season in enumerate(SEASONS, start=1):
            pair = (f"{prefix}{season}_cos", f"{prefix}{season}_sin")
            if set(pair) & set(names):
                frequency, start = multiple * rate, multiple * phase
                terms.append(Harmonics(frequency, start, *pair, {angle: 1.0}))
    chandler = tuple(f"polar_motion.chandler_{part}" for part in ("cos", "sin", "period"))
    if set(chandler) & set(names):
        terms.append(Wobble(*chandler))
    return terms
