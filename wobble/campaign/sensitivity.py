"""What one unit of each parameter does to the measurements: its signature.

In: a link, time tags over a pass or over a season, names of parameters. Out: `Signatures`,
metres of range and m/s of range rate per unit of each parameter, from the full model
(`signatures`) or from first-order formulas that one can check on the back of an envelope
(`first_order`).

To first order the lander moves the range by the projection of its displacement on the
direction of the Earth; the Earth stands at right ascension alpha from the equator's node and
declination delta in the planet's equator, the lander at latitude theta (geocentric), radius
R and L = phi + longitude from the node, so that H = L - alpha is the Earth's hour angle
(Yseboodt, Dehant & Peters 2017, Planet. Space Sci. 144, 74):

    spin angle phi    R cos(theta) cos(delta) sin(H)
    obliquity eps     R [sin(theta) cos(delta) sin(alpha) - cos(theta) sin(L) sin(delta)]
    node psi          cos(eps) d/dphi + R sin(eps) [cos(theta) cos(L) sin(delta)
                      - sin(theta) cos(delta) cos(alpha)]
    polar motion X_p  R [sin(theta) cos(delta) cos(alpha - phi) - cos(theta) cos(lon) sin(delta)]
    polar motion Y_p  R [cos(theta) sin(lon) sin(delta) - sin(theta) cos(delta) sin(alpha - phi)]

in metres per radian; a parameter's signature is the sum over the angles times the angle's own
derivative (a power of time, a cosine). They leave out what is of the order of v/c and of
the angle between the two legs, some 1e-4 of the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import astropy.units as u
import numpy as np
from astropy.table import QTable
from astropy.time import Time
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.link.observables import Link
from wobble.link.path import Path
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import RotationModel

__all__ = ["Signatures", "first_order", "formula_names", "signature_names", "signatures"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Signatures:
    """Change of the measurements by one unit of each parameter.

    Parameters
    ----------
    names : tuple of str
        p parameters.
    units : tuple of str
        The unit of each, that in which people write it.
    epoch : Time, shape (n,)
        UTC of reception.
    range : ndarray, shape (n, p)
        m, one-way, per unit.
    range_rate : ndarray, shape (n, p)
        m/s, one-way, per unit.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    epoch: Time
    range: Array
    range_rate: Array

    def only(self, names: Sequence[str]) -> Signatures:
        """Those of some of the parameters."""
        places = [self.names.index(name) for name in names]
        return Signatures(
            tuple(names),
            tuple(self.units[k] for k in places),
            self.epoch,
            self.range[:, places],
            self.range_rate[:, places],
        )

    def table(self) -> QTable:
        """Largest effect of one unit of each parameter, and its rms."""
        return QTable(
            {
                "parameter": self.names,
                "unit": self.units,
                "range, largest": np.abs(self.range).max(axis=0) * u.m,
                "range, rms": np.sqrt(np.mean(self.range**2, axis=0)) * u.m,
                "range rate, largest": np.abs(self.range_rate).max(axis=0) * 1e3 * u.mm / u.s,
                "range rate, rms": np.sqrt(np.mean(self.range_rate**2, axis=0)) * 1e3 * u.mm / u.s,
            }
        )

    def __repr__(self) -> str:
        first, last = self.epoch[0].isot[:16], self.epoch[-1].isot[:16]
        size = f"{len(self.names)} parameters at {len(self.epoch)} epochs"
        return f"<Signatures of {size}, {first} to {last}>"

    def _repr_html_(self) -> str:
        table = self.table()
        for name in table.colnames[2:]:
            table[name].info.format = ".3g"
        return str(table._repr_html_())


def signatures(
    link: Link, tags: Time, names: Sequence[str] | None = None, count_time: float = 60.0
) -> Signatures:
    """Signatures in the full model.

    Parameters
    ----------
    link : Link
        Two- or three-way link.
    tags : Time, shape (n,)
        UTC of reception, and middle of the counts.
    names : sequence of str, optional
        Parameters; the rotation's and the lander's coordinates if left out.
    count_time : float
        Of the range rates, s.

    Raises
    ------
    InputError
        If a measurement of the link does not depend on a parameter.
    """
    wanted = _names(link, names)
    of_range = link.range(tags).partials(wanted)
    of_rate = link.range_rate(tags, count_time).partials(wanted)
    for name in wanted:
        if name not in of_range:
            raise InputError("the link's measurements do not depend on it", field=name)
    return _in_users_units(wanted, tags, of_range, of_rate)


def signature_names(link: Link, tags: Time, names: Sequence[str]) -> tuple[str, ...]:
    """Those of the names on which the link's measurements depend."""
    dependent = link.range(tags).partials(tuple(names))
    return tuple(name for name in names if name in dependent)


def formula_names(link: Link) -> frozenset[str]:
    """Parameters for which there is a first-order formula."""
    model = link.lander.body.orientation
    if not isinstance(model, RotationModel):
        return frozenset()
    lander = link.lander.lander.name
    rotation = {name for term in model.terms for name in term.names}
    return frozenset(rotation | {f"lander.{lander}.{axis}" for axis in "xyz"})


def first_order(
    link: Link, tags: Time, names: Sequence[str] | None = None, count_time: float = 60.0
) -> Signatures:
    """Signatures of rotation parameters and coordinates by the first-order formulas.

    Parameters and errors are those of `signatures`.
    """
    wanted = _names(link, names)
    rate = link.range_rate(tags, count_time)
    of_range = _first_order_range(link, link.range(tags).trip, wanted)
    begin, end = (_first_order_range(link, trip, wanted) for trip in (rate.begin, rate.end))
    of_rate = {name: (end[name] - begin[name]) / count_time for name in end}
    for name in wanted:
        if name not in of_range:
            raise InputError("there is no first-order formula for it", field=name)
    return _in_users_units(wanted, tags, of_range, of_rate)


def _names(link: Link, names: Sequence[str] | None) -> tuple[str, ...]:
    if names is not None:
        return tuple(names)
    lander = link.lander.lander.name
    rotation = link.lander.body.orientation.values
    return (*rotation, *(f"lander.{lander}.{axis}" for axis in "xyz"))


def _in_users_units(
    names: tuple[str, ...], tags: Time, of_range: dict[str, Array], of_rate: dict[str, Array]
) -> Signatures:
    units = [unit_of(name) for name in names]
    factors = np.array([u.Unit(unit.user).to(unit.si) for unit in units])
    columns = (
        np.column_stack([of[name] for name in names]) * factors for of in (of_range, of_rate)
    )
    return Signatures(names, tuple(unit.user for unit in units), tags, *columns)


def _first_order_range(link: Link, trip: Path, names: tuple[str, ...]) -> dict[str, Array]:
    """m per SI unit, shape (n,) each."""
    model = link.lander.body.orientation
    if not isinstance(model, RotationModel):
        raise InputError(
            "the first-order formulas are those of a rotation with five angles",
            found=type(model).__name__,
        )
    lander, epochs = link.lander.lander, trip.returned.epochs
    toward = model.body_fixed(trip.down.vector / trip.down.distance[:, None], epochs)
    angles = model.angles(epochs)
    by_angle = _by_angle(lander.position, toward, angles[:, 1], angles[:, 2])
    out: dict[str, Array] = {}
    for term in model.terms:
        for name, slope in term.derivatives(model.values, epochs).items():
            out[name] = out.get(name, 0.0) + np.einsum("na,na->n", by_angle, slope)
    out |= {f"lander.{lander.name}.{axis}": -toward[:, k] for k, axis in enumerate("xyz")}
    return {name: out[name] for name in names if name in out}


def _by_angle(place: Array, toward: Array, obliquity: Array, spin: Array) -> Array:
    """Range per radian of node, obliquity, spin and polar motion, m, shape (n, 5).

    Parameters
    ----------
    place : ndarray, shape (3,)
        The lander, body-fixed, m.
    toward : ndarray, shape (n, 3)
        Unit vectors to the Earth, body-fixed.
    obliquity, spin : ndarray, shape (n,)
        Angles of the planet, rad.
    """
    radius = np.linalg.norm(place)
    theta, longitude = np.arcsin(place[2] / radius), np.arctan2(place[1], place[0])
    delta = np.arcsin(toward[:, 2])
    earth_longitude = np.arctan2(toward[:, 1], toward[:, 0])
    alpha, turned = spin + earth_longitude, spin + longitude
    st, ct, sd, cd = np.sin(theta), np.cos(theta), np.sin(delta), np.cos(delta)
    by_spin = ct * cd * np.sin(turned - alpha)
    by_obliquity = st * cd * np.sin(alpha) - ct * np.sin(turned) * sd
    by_node = np.cos(obliquity) * by_spin + np.sin(obliquity) * (
        ct * np.cos(turned) * sd - st * cd * np.cos(alpha)
    )
    by_x = st * cd * np.cos(earth_longitude) - ct * np.cos(longitude) * sd
    by_y = ct * np.sin(longitude) * sd - st * cd * np.sin(earth_longitude)
    return radius * np.column_stack([by_node, by_obliquity, by_spin, by_x, by_y])
