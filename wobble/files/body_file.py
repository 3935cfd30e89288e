"""Bodies from files: their size, mass, rotation and tides.

In: the name of a ready-made body (``"mars"``, ``"moon"``) or the path of a TOML file of
the same form. Out: a `Body`.

The ready-made files in ``wobble/planet/data`` are the description of the format: every
key, with its unit and its source. ``mars`` has its nutation as a table of terms,
``mars_computed`` from the torque, ``mars_iau`` the working group's expressions.
"""

from __future__ import annotations

from collections.abc import Collection
from importlib.resources import files
from itertools import chain
from pathlib import Path

from wobble.ephemeris import de421_table
from wobble.errors import InputError, UnknownNameError
from wobble.files.rotation_sections import (
    added_terms,
    nutation_setup,
    read_pole_and_meridian,
)
from wobble.planet.angle_terms import AngleTerm, Harmonics, Nutation, Polynomial, Wobble
from wobble.planet.body import Body
from wobble.planet.computed_nutation import NutationSetup
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import Orientation, RotationModel, TabulatedLibration
from wobble.text.toml_section import Section, read_toml

__all__ = ["READY_MADE", "read_body", "read_nutation_setup"]

DATA = files("wobble.planet") / "data"
READY_MADE = ("mars", "mars_computed", "mars_iau", "mercury", "moon", "moon_iau", "venus")
ORIENTATIONS = ("angles", "librations of DE421", "pole and meridian")

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
        One of `READY_MADE` or the path of a TOML file.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    path = _path(name)
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
            surface_pressure=top.quantity("surface_pressure", "Pa", "0 Pa"),
            source=top.text("source", ""),
        )
    except InputError as error:
        error.source = error.source or str(path)
        raise
    top.finish()
    return body


def read_nutation_setup(name: str | Path) -> NutationSetup:
    """What the nutation of a body is computed from.

    Parameters
    ----------
    name : str or Path
        A ready-made body (``"mars"`` stands for ``"mars_computed"``) or the path of a body
        file with a section ``[rotation.computed_nutation]``.

    Raises
    ------
    InputError
        If the file has no such section, or with file, line and key of what is wrong in it.
    """
    computed = f"{name}_computed"
    path = _path(computed if computed in READY_MADE else name)
    top = read_toml(path)
    rotation = top.section("rotation", {})
    if "computed_nutation" not in rotation:
        raise InputError(
            "says nothing of what the nutation is to be computed from",
            source=path,
            field="rotation.computed_nutation",
            expected="a section like that of the ready-made body mars_computed",
        )
    try:
        return nutation_setup(top.text("name"), rotation)
    except InputError as error:
        error.source = error.source or str(path)
        raise


def _path(name: str | Path) -> Path:
    if name in READY_MADE:
        return Path(str(DATA / f"{name}.toml"))
    path = Path(name)
    if not path.suffix and not path.is_file():
        raise UnknownNameError("body", str(name), [*READY_MADE, "the path of a body file"])
    return path


def _orientation(top: Section) -> Orientation:
    form = top.text("orientation")
    if form == "librations of DE421":
        if top.text("name") != "moon":
            raise top.error("orientation", "is the Moon's", form, "angles")
        return TabulatedLibration(de421_table("librations"))
    if form == "pole and meridian":
        return read_pole_and_meridian(top.section("pole_and_meridian"))
    if form == "angles":
        return _rotation(top.text("name"), top.section("rotation"))
    raise top.error("orientation", "is unknown", form, " or ".join(ORIENTATIONS))


def _rotation(body: str, section: Section) -> RotationModel:
    phase = section.quantity("season_phase", "rad")
    rate = section.quantity("season_rate", "rad / s")
    given = section.section("parameters")
    added = added_terms(body, section, phase, rate)
    known = KNOWN.union(*(term.names for term in added))
    for name in given:
        if name not in known:
            raise UnknownNameError(
                "parameter of the rotation",
                name,
                known,
                source=given.path,
                line=given.line(name),
                field=given.name,
            )
    pole, means = _pole(body, section, phase, rate)
    terms = [*pole, *rotation_terms(list(given), phase, rate), *added]
    # A term asks for all its parameters: half a pair or a power left out is a missing key.
    needed = dict.fromkeys(name for term in terms for name in term.names)
    model = RotationModel(
        plane_node=section.quantity("plane_node", "rad"),
        plane_inclination=section.quantity("plane_inclination", "rad"),
        terms=tuple(terms),
        values={
            name: means[name]
            if name in means and name not in given
            else given.quantity(name, unit_of(name).si)
            for name in needed
        },
    )
    given.finish()
    section.finish()
    return model


def _pole(
    body: str, section: Section, phase: float, rate: float
) -> tuple[list[AngleTerm], dict[str, float]]:
    """Terms of precession and nutation, and the values of what need not be given."""
    given = section.section("parameters")
    if "computed_nutation" not in section:
        return [*_polynomials(list(given), (NODE, OBLIQUITY)), *_nutation(section, phase, rate)], {}
    if "nutation" in section:
        raise section.error(
            "nutation", "is given and computed", "both", "computed_nutation or [[nutation]] rows"
        )
    computed = nutation_setup(body, section).compute()
    terms: list[AngleTerm] = [computed.rigid_term]
    if not set(Nutation.names).isdisjoint(given):
        terms.append(computed.core_term)
    return terms, computed.rigid_term.mean_values


def _nutation(section: Section, phase: float, rate: float) -> list[AngleTerm]:
    given = section.section("parameters")
    terms: list[AngleTerm] = []
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
    return terms


def rotation_terms(names: Collection[str], phase: float, rate: float) -> list[AngleTerm]:
    """The terms of spin and polar motion that the named parameters belong to.

    Parameters
    ----------
    names : collection of str
        Parameters that are given; others than of these terms are of no consequence. A
        polynomial reaches to the highest power among them.
    phase, rate : float
        The season's argument at J2000 (rad) and its rate (rad/s).
    """
    terms = _polynomials(names, (SPIN,))
    for angle, multiple, pair in HARMONICS:
        if not set(pair).isdisjoint(names):
            terms.append(Harmonics(multiple * rate, multiple * phase, *pair, {angle: 1.0}))
    if not set(FREE_WOBBLE).isdisjoint(names):
        terms.append(Wobble(*FREE_WOBBLE))
    return terms


def _polynomials(names: Collection[str], angles: Collection[int]) -> list[AngleTerm]:
    terms: list[AngleTerm] = []
    for angle in angles:
        powers = POWERS[angle]
        highest = max((k for k, name in enumerate(powers) if name in names), default=0)
        terms.append(Polynomial(angle, powers[: highest + 1]))
    return terms
