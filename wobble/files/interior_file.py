"""What is assumed of a planet when its rotation is to tell of its inside, from a file.

In: the name of a ready-made file (``"mars"``) or the path of a TOML file of the same form. Out:
`InteriorAssumptions`: mass, size, gravity and spin of the planet, how its mantle yields, its
crust, and from which body file the precession for a given flattening is computed.

``wobble/planet/data/mars_interior.toml`` is the description of the format.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from wobble.errors import InputError, UnknownNameError
from wobble.planet.core_compliance import ElasticMantle, GivenCompliance
from wobble.planet.interior import Mantle, PlanetFigure
from wobble.planet.layers import Crust
from wobble.text.toml_section import Section, read_toml

__all__ = ["READY_MADE", "InteriorAssumptions", "read_interior"]

DATA = files("wobble.planet") / "data"
READY_MADE = ("mars",)


@dataclass(frozen=True)
class InteriorAssumptions:
    """What goes into an inference beside the rotation.

    Parameters
    ----------
    figure : PlanetFigure
        Mass, radius, J2, spin.
    mantle : ElasticMantle or GivenCompliance
        How the mantle yields.
    crust : Crust or None
        Of the model of three layers.
    nutation : str or Path
        Body from which the precession is computed, for `read_nutation_setup`.
    """

    figure: PlanetFigure
    mantle: Mantle
    crust: Crust | None
    nutation: str | Path


def read_interior(name: str | Path) -> InteriorAssumptions:
    """Read the assumptions on a planet's inside.

    Parameters
    ----------
    name : str or Path
        One of `READY_MADE` or the path of a TOML file.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    path = Path(str(DATA / f"{name}_interior.toml")) if name in READY_MADE else Path(name)
    if not path.suffix and not path.is_file():
        raise UnknownNameError("planet", str(name), [*READY_MADE, "the path of a file"])
    top = read_toml(path)
    nutation = top.text("nutation")
    try:
        found = InteriorAssumptions(
            figure=_figure(top.section("figure")),
            mantle=_mantle(top.section("mantle")),
            crust=_crust(top.section("crust")) if "crust" in top else None,
            nutation=path.parent / nutation if nutation.endswith(".toml") else nutation,
        )
    except InputError as error:
        error.source = error.source or str(path)
        raise
    top.finish()
    return found


def _figure(section: Section) -> PlanetFigure:
    figure = PlanetFigure(
        gm=section.quantity("gm", "m3 / s2"),
        radius=section.quantity("mean_radius", "m"),
        j2=section.number("j2"),
        j2_radius=section.quantity("j2_radius", "m"),
        spin_rate=section.quantity("spin_rate", "rad / s"),
        j2_sigma=section.number("j2_sigma", 0.0),
    )
    section.finish()
    return figure


def _mantle(section: Section) -> Mantle:
    mantle: Mantle
    if "gamma" in section or "beta" in section:
        mantle = GivenCompliance(section.number("gamma"), section.number("beta"))
    else:
        mantle = ElasticMantle(
            section.number("love_number"), section.number("love_number_sigma", 0.0)
        )
    section.finish()
    return mantle


def _crust(section: Section) -> Crust:
    crust = Crust(
        thickness=section.quantity("thickness", "m"),
        density=section.quantity("density", "kg / m3"),
        thickness_sigma=section.quantity("thickness_sigma", "m", "0 km"),
        density_sigma=section.quantity("density_sigma", "kg / m3", "0 kg / m3"),
    )
    section.finish()
    return crust
