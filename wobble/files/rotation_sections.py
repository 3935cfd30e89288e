"""What a body file may say of the rotation beyond a table of terms.

In: sections of a body file. Out: terms of the orientation angles, and a `RotationModel` for the
orientations that are published as right ascension, declination and prime meridian.

* ``[rotation.computed_nutation]``: the axis integrated from the torque on the planet's
  flattening, with satellites as given terms; instead of ``[[rotation.nutation]]`` rows.
* ``[rotation.relativistic_spin]``: relativity in the spin angle, from the ephemeris.
* ``[[rotation.series]]``: a periodic and a Poisson term on one angle, four parameters.
* ``[[rotation.circle]]``: a circle of the nutation, its two amplitudes as parameters.
* ``[[rotation.table]]``: angles from a file of values (`wobble.files.angle_table`).
* ``[pole_and_meridian]``: published expressions.

The ready-made files ``mars_computed.toml`` and ``mars_iau.toml`` in ``wobble/planet/data`` show
every key.
"""

from __future__ import annotations

from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import UnknownNameError
from wobble.files.angle_table import read_angle_table
from wobble.planet.angle_terms import ANGLES, AngleTerm
from wobble.planet.computed_nutation import NutationSetup
from wobble.planet.parameter_units import unit_of
from wobble.planet.pole_and_meridian import PeriodicTerm, PoleAndMeridian, pole_and_meridian
from wobble.planet.relativistic_spin import relativistic_spin
from wobble.planet.rigid_axis import RigidPlanet
from wobble.planet.rotation import RotationModel
from wobble.planet.satellite_nutation import Satellite
from wobble.planet.series_terms import Circle, DriftingHarmonics, TabulatedAngles
from wobble.text.toml_section import Section

__all__ = ["added_terms", "nutation_setup", "read_pole_and_meridian"]

SERIES_PARTS = ("cos", "sin", "cos_rate", "sin_rate")


def nutation_setup(body: str, rotation: Section) -> NutationSetup:
    """What a section ``[rotation.computed_nutation]`` asks for.

    Parameters
    ----------
    body : str
        The planet's name in the ephemeris.
    rotation : Section
        The whole section ``[rotation]``: plane and parameters are needed too.

    Raises
    ------
    InputError
        If a key is missing or a value is not physical.
    """
    section, given = rotation.section("computed_nutation"), rotation.section("parameters")
    planet = RigidPlanet(
        body=body,
        dynamical_flattening=section.number("dynamical_flattening"),
        spin_rate=given.quantity("spin.rate", "rad / s"),
        plane_node=rotation.quantity("plane_node", "rad"),
        plane_inclination=rotation.quantity("plane_inclination", "rad"),
        longitude=given.quantity("pole.node_longitude", "rad"),
        obliquity=given.quantity("pole.obliquity", "rad"),
    )
    start, stop = _span(section)
    setup = NutationSetup(
        planet=planet,
        satellites=tuple(_satellite(row) for row in section.sections("satellite")),
        ephemeris=section.text("ephemeris", "de440"),
        start=start,
        stop=stop,
        harmonics=section.integer("harmonics", 6),
    )
    section.finish()
    return setup


def _span(section: Section) -> tuple[float, float]:
    start, stop = (
        float(Epochs.from_time(section.epoch(key)).since_j2000[0]) for key in ("start", "stop")
    )
    return start, stop


def _satellite(row: Section) -> Satellite:
    satellite = Satellite(
        name=row.text("name"),
        gm=row.quantity("gm", "m3 / s2"),
        semi_major_axis=row.quantity("semi_major_axis", "m"),
        inclination=row.quantity("inclination", "rad"),
        laplace_tilt=row.quantity("laplace_tilt", "rad"),
        pole_argument=row.quantity("pole_argument", "rad"),
        pole_rate=row.quantity("pole_rate", "rad / s"),
    )
    row.finish()
    return satellite


def added_terms(body: str, rotation: Section, phase: float, rate: float) -> list[AngleTerm]:
    """Series, circles, tables and relativity that a section ``[rotation]`` names.

    Parameters
    ----------
    body : str
        The planet's name in the ephemeris.
    rotation : Section
        The whole section.
    phase, rate : float
        The season's argument at J2000 (rad) and its rate (rad/s).
    """
    given = rotation.section("parameters")
    terms: list[AngleTerm] = [_series(row) for row in rotation.sections("series")]
    for row in rotation.sections("circle"):
        terms.append(_circle(row, phase, rate, given.quantity("pole.obliquity", "rad")))
    terms += [_table(row) for row in rotation.sections("table")]
    if "relativistic_spin" in rotation:
        section = rotation.section("relativistic_spin")
        found = relativistic_spin(
            body,
            given.quantity("spin.rate", "rad / s"),
            open_ephemeris(section.text("ephemeris", "de440")),
            *_span(section),
            anomaly=(rate, phase),
        )
        section.finish()
        terms.append(TabulatedAngles(found.table, (ANGLES.index("spin"),)))
    return terms


def _series(row: Section) -> DriftingHarmonics:
    name, angle = row.text("name"), row.text("angle")
    if angle not in ANGLES:
        raise row.error("angle", "is unknown", angle, ", ".join(ANGLES))
    cos, sin, cos_rate, sin_rate = (f"series.{name}_{part}" for part in SERIES_PARTS)
    term = DriftingHarmonics(
        frequency=row.quantity("rate", "rad / s"),
        phase=row.quantity("phase", "rad"),
        names=(cos, sin, cos_rate, sin_rate),
        effects={ANGLES.index(angle): 1.0},
    )
    row.finish()
    return term


def _circle(row: Section, phase: float, rate: float, obliquity: float) -> Circle:
    name, multiple = row.text("name"), row.integer("multiple")
    if multiple == 0:
        raise row.error("multiple", "is no circle", 0, "positive (prograde) or negative")
    term = Circle(
        frequency=multiple * rate,
        phase=multiple * phase,
        names=(f"nutation.{name}_in_phase", f"nutation.{name}_out_of_phase"),
        mean_obliquity=obliquity,
    )
    row.finish()
    return term


def _table(row: Section) -> TabulatedAngles:
    term = read_angle_table(row.file("file"))
    row.finish()
    return term


def read_pole_and_meridian(section: Section) -> RotationModel:
    """The orientation that a section ``[pole_and_meridian]`` describes.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    given = section.section("parameters")
    powers = ("spin.angle", "spin.rate", "spin.acceleration")
    known = (*PoleAndMeridian.names, *powers)
    for name in given:
        if name not in known:
            raise UnknownNameError(
                "parameter of the orientation",
                name,
                known,
                source=given.path,
                line=given.line(name),
                field=given.name,
            )
    needed = known if powers[2] in given else known[:-1]
    periodic = []
    for row in section.sections("periodic"):
        periodic.append(
            PeriodicTerm(
                phase=row.quantity("phase", "rad"),
                rate=row.quantity("rate", "rad / s"),
                right_ascension=row.quantity("right_ascension_sin", "rad", "0 deg"),
                declination=row.quantity("declination_cos", "rad", "0 deg"),
                meridian=row.quantity("meridian_sin", "rad", "0 deg"),
            )
        )
        row.finish()
    values = {name: given.quantity(name, unit_of(name).si) for name in needed}
    given.finish()
    section.finish()
    return pole_and_meridian(values, periodic)
