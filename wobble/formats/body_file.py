"""Bodies from files: their size, mass, rotation and tides.

In: the name of a ready-made body (``"mars"``, ``"moon"``) or the path of a TOML file of
the same form. Out: a `Body`.

The ready-made files in ``wobble/planet/data`` are the description of the format: every
key, with its unit and its source.
"""

from __future__ import annotations

from collections.abc import Collection
from importlib.resources import files
from itertools import chain
from pathlib import Path

from wobble.ephemeris import de421_table
from wobble.errors import InputError, UnknownNameError
from wobble.formats.toml_section import Section, read_toml
from wobble.planet.angle_terms import AngleTerm, Harmonics, Nutation, Polynomial, Wobble
from wobble.planet.body import Body
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import Orientation, RotationModel, TabulatedLibration

__all__ = ["READY_MADE", "read_body"]

DATA = files("wobble.planet") / "data"
READY_MADE = ("mars", "moon")
ORIENTATIONS = ("angles", "librations of DE421")

NODE, OBLIQUITY, SPIN, POLAR_X, POLAR_Y = range(5)
# Which parameters make which angle: powers of time, harmonics of the season, the free wobble.
POWERS = {
    NODE: ("pole.node_longitude", "pole.precession_rate"),
    OBLIQUITY: ("pole.obliquity", "pole.obliquity_rate"),
    SPIN: ("spin.angle", "spin.rate", "spin.acceleration"),
}
SEASONS = ("annual", "semiannual", "terannual", "quarterannual")
HARMONICS = [
    (angle, multiple, (f"{prefix}{season}_cos", f"{prefix}{season}_sin"))
    for angle, prefix in (
        (SPIN, "spin."),
        (POLAR_X, "polar_motion.x_"),
        (POLAR_Y, "polar_motion.y_"),
    )
    for multiple, season in enumerate(SEASONS, start=1)
]
FREE_WOBBLE = (
    "polar_motion.chandler_cos",
    "polar_motion.chandler_sin",
    "polar_motion.chandler_period",
)
KNOWN = {*chain(*POWERS.values(), *(pair for *_, pair in HARMONICS), FREE_WOBBLE), *Nutation.names}


def read_body(name: str | Path) -> Body:
    """A ready-made body by name, or a body from a file.

    Parameters
    ----------
    name : str or Path
        ``"mars"``, ``"moon"`` or the path of a TOML file.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    path = Path(str(DATA / f"{name}.toml")) if name in READY_MADE else Path(name)
    if not path.suffix and not path.is_file():
        raise UnknownNameError("body", str(name), [*READY_MADE, "the path of a body file"])
    top = read_toml(path)
    try:
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
    except InputError as error:
        error.source = error.source or str(path)
        raise
    top.finish()
    return body


def _orientation(top: Section) -> Orientation:
    form = top.text("orientation")
    if form == "librations of DE421":
        if top.text("name") != "moon":
            raise top.error("orientation", "is the Moon's", form, "angles")
        return TabulatedLibration(de421_table("librations"))
    if form == "angles":
        return _rotation(top.section("rotation"))
    raise top.error("orientation", "is unknown", form, " or ".join(ORIENTATIONS))


def _rotation(section: Section) -> RotationModel:
    phase = section.quantity("season_phase", "rad")
    rate = section.quantity("season_rate", "rad / s")
    given = section.section("parameters")
    for name in given:
        if name not in KNOWN:
            raise UnknownNameError(
                "parameter of the rotation",
                name,
                KNOWN,
                source=given.path,
                line=given.line(name),
                field=given.name,
            )
    terms = rotation_terms(list(given), phase, rate)
    for row in section.sections("nutation"):
        multiple = row.integer("multiple")
        terms.append(
            Nutation(
                frequency=multiple * rate,
                phase=multiple * phase + row.quantity("offset", "rad"),
                longitude=row.quantity("longitude", "rad"),
                obliquity=row.quantity("obliquity", "rad"),
                mean_obliquity=given.quantity("pole.obliquity", "rad"),
            )
        )
        row.finish()
    # A term asks for all its parameters: half a pair or a power left out is a missing key.
    needed = dict.fromkeys(name for term in terms for name in term.names)
    model = RotationModel(
        plane_node=section.quantity("plane_node", "rad"),
        plane_inclination=section.quantity("plane_inclination", "rad"),
        terms=tuple(terms),
        values={name: given.quantity(name, unit_of(name).si) for name in needed},
    )
    given.finish()
    section.finish()
    return model


def rotation_terms(names: Collection[str], phase: float, rate: float) -> list[AngleTerm]:
    """The terms that the named parameters belong to; other names are of no consequence.

    Parameters
    ----------
    names : collection of str
        Parameters that are given. A polynomial reaches to the highest power among them.
    phase, rate : float
        The season's argument at J2000 (rad) and its rate (rad/s).
    """
    terms: list[AngleTerm] = []
    for angle, powers in POWERS.items():
        highest = max((k for k, name in enumerate(powers) if name in names), default=0)
        terms.append(Polynomial(angle, powers[: highest + 1]))
    for angle, multiple, pair in HARMONICS:
        if not set(pair).isdisjoint(names):
            terms.append(Harmonics(multiple * rate, multiple * phase, *pair, {angle: 1.0}))
    if not set(FREE_WOBBLE).isdisjoint(names):
        terms.append(Wobble(*FREE_WOBBLE))
    return terms
