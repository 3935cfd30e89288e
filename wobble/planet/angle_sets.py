"""Both sets of angles of a body's orientation, at epochs and as series.

In: the orientation of a body, a reference plane, epochs or a span. Out: `AngleSets`, the angles
(psi, eps, phi) on the plane and (alpha, delta, W) on the equator of the ICRF at these epochs;
or an `AngleSeries`, the one set as polynomial, periodic and Poisson terms of the mean anomaly.

The relations themselves, and how W differs from phi, stand in `wobble.planet.reference_angles`.
Polar motion belongs to neither set: it is left out where the orientation has it as angles of
its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import astropy.units as u
import numpy as np
from astropy.table import QTable
from numpy.typing import NDArray

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.nutation import mean_orbit
from wobble.planet.reference_angles import (
    equatorial_angles_of_matrix,
    equatorial_from_orbit,
    equatorial_series,
    orbit_from_equatorial,
    orbit_series,
)
from wobble.planet.rotation import RotationModel, TabulatedLibration
from wobble.shown import as_code

__all__ = ["AngleSeries", "AngleSets", "angle_series", "angle_sets", "plane_of"]

Array = NDArray[np.float64]
Plane = tuple[float, float]

SETS = {"equatorial": ("alpha", "delta", "w_minus_phi"), "orbit": ("psi", "eps", "phi_minus_w")}


@dataclass(frozen=True, eq=False)
class AngleSets:
    """One orientation in two sets of angles, each of shape (n,), rad.

    Parameters
    ----------
    plane : (float, float)
        N and J of the reference plane, rad.
    epochs : Epochs
        TDB.
    psi, eps, phi : ndarray
        Longitude of the equator's node on the plane, obliquity, spin angle from that node.
    alpha, delta, w : ndarray
        Right ascension and declination of the pole, angle of the prime meridian.
    """

    plane: Plane
    epochs: Epochs
    psi: Array
    eps: Array
    phi: Array
    alpha: Array
    delta: Array
    w: Array

    def to_table(self) -> QTable:
        """One row per epoch; degrees, the spin angles less whole turns."""
        table = QTable()
        table["epoch_tdb"] = self.epochs.to_time().isot
        for name in ("psi", "eps", "phi", "alpha", "delta", "w"):
            degrees = np.degrees(getattr(self, name))
            if name not in ("eps", "delta"):
                degrees = np.remainder(degrees, 360.0)
            table[name] = degrees * u.deg
            table[name].info.format = ".9f"
        table.meta = {
            "plane_node_deg": float(np.degrees(self.plane[0])),
            "plane_inclination_deg": float(np.degrees(self.plane[1])),
        }
        return table


def plane_of(orientation: object) -> Plane | None:
    """Reference plane of an orientation, if it has one other than the equator of the ICRF."""
    if isinstance(orientation, RotationModel) and orientation.plane_inclination != 0.0:
        return orientation.plane_node, orientation.plane_inclination
    return None


def angle_sets(
    orientation: RotationModel | TabulatedLibration, epochs: Epochs, plane: Plane | None = None
) -> AngleSets:
    """Both sets of angles at epochs.

    Parameters
    ----------
    orientation : RotationModel or TabulatedLibration
        How the body is turned.
    epochs : Epochs
        TDB.
    plane : (float, float), optional
        N and J of the plane for psi, eps and phi, rad; the orientation's own if left out.

    Raises
    ------
    InputError
        If there is no plane, or a node is undefined.
    """
    own = plane_of(orientation)
    plane = plane or own
    if plane is None:
        raise InputError(
            "the orientation has no reference plane but the equator of the ICRF",
            field="plane",
            expected="node and inclination of a plane for psi, eps and phi",
        )
    alpha, delta, w = _equatorial(orientation, epochs)
    if plane == own and isinstance(orientation, RotationModel):
        psi, eps, phi = orientation.angles(epochs)[:, :3].T
    else:
        psi, eps, phi = orbit_from_equatorial(plane, alpha, delta, w)
    return AngleSets(plane, epochs, psi, eps, phi, alpha, delta, w)


def _equatorial(
    orientation: RotationModel | TabulatedLibration, epochs: Epochs
) -> tuple[Array, Array, Array]:
    if isinstance(orientation, TabulatedLibration):
        return equatorial_angles_of_matrix(orientation.matrix(epochs))
    own = orientation.plane_node, orientation.plane_inclination
    return equatorial_from_orbit(own, *orientation.angles(epochs)[:, :3].T)


@dataclass(frozen=True, eq=False)
class AngleSeries:
    """One set of angles as a series of multiples of the mean anomaly.

    Parameters
    ----------
    body : str
        Whose angles.
    kind : {"equatorial", "orbit"}
        Which set.
    harmonics : HarmonicSeries
        Of three columns: the pole's two angles, and the third angle less that of the other set
        (the spin itself, and what is periodic in it, is the same in both).
    """

    body: str
    kind: str
    harmonics: HarmonicSeries

    @property
    def columns(self) -> tuple[str, str, str]:
        """Names of the three angles."""
        return SETS[self.kind]

    def to_table(self) -> QTable:
        """One row per term: period, then cosine, sine and their drifts of each angle."""
        h = self.harmonics
        table = QTable()
        table["argument"] = ["l" if m == 1 else f"{m} l" for m in range(1, h.frequency.size + 1)]
        table["period"] = 2.0 * np.pi / h.frequency / DAY * u.day
        for k, name in enumerate(self.columns):
            for part in ("cosine", "sine"):
                amplitude, rate = getattr(h, part)[:, k], getattr(h, f"{part}_rate")[:, k]
                table[f"{name}_{part[:3]}"] = amplitude / MAS * u.mas
                table[f"{name}_{part[:3]}_rate"] = rate * (JULIAN_YEAR / MAS) * u.mas / u.yr
        for name in table.colnames[1:]:
            table[name].info.format = ".4f" if name.endswith("rate") else ".3f"
        return table

    @property
    def secular(self) -> dict[str, tuple[float, float, float]]:
        """For each angle its value at J2000 (deg), rate (mas/yr) and its change (mas/yr^2)."""
        level, rate, bend = self.harmonics.polynomial[:3]
        per_year = JULIAN_YEAR / MAS
        return {
            name: (
                float(np.degrees(level[k])),
                float(rate[k] * per_year),
                float(2.0 * bend[k] * per_year * JULIAN_YEAR),
            )
            for k, name in enumerate(self.columns)
        }

    @property
    def left(self) -> dict[str, float]:
        """Root mean square of what the series leaves of each angle, mas."""
        return dict(zip(self.columns, (self.harmonics.rms / MAS).tolist(), strict=True))

    def __repr__(self) -> str:
        terms = self.harmonics.frequency.size
        return f"<AngleSeries of {self.body}: {self.kind} set, {terms} terms>"

    def _repr_html_(self) -> str:
        return as_code(self)

    def __str__(self) -> str:
        lines = [f"Angles of {self.body} as series, {self.kind} set, secular part at J2000.0:"]
        for name, (level, rate, change) in self.secular.items():
            lines.append(
                f"  {name:<12}{level:16.9f} deg {rate:+12.3f} mas/yr {change:+9.4f} mas/yr^2, "
                f"the series leaves {self.left[name]:.3f} mas (rms)"
            )
        table = self.to_table()
        table.remove_columns([name for name in table.colnames if name.endswith("_rate")])
        return "\n".join([*lines, *table.pformat(max_lines=-1, max_width=-1)])


@dataclass(frozen=True)
class _Frame:
    """What the mean anomaly is reckoned in."""

    body: str
    plane_node: float
    plane_inclination: float
    epoch: float = 0.0


def angle_series(
    body: str,
    orientation: RotationModel,
    kind: str,
    ephemeris: Ephemeris,
    start: float,
    stop: float,
    *,
    plane: Plane | None = None,
    harmonics: int = 6,
) -> AngleSeries:
    """One set of angles as polynomial, periodic and Poisson terms.

    Parameters
    ----------
    body : str
        Its name in the ephemeris, from which the mean anomaly is taken.
    orientation : RotationModel
        How it is turned.
    kind : {"equatorial", "orbit"}
        The set that is wanted.
    ephemeris : Ephemeris
        Positions of the body and the Sun.
    start, stop : float
        Span over which the series shall hold, seconds since J2000.0 TDB.
    plane : (float, float), optional
        N and J, rad; the orientation's own if left out.
    harmonics : int
        Highest multiple of the mean anomaly.

    Raises
    ------
    InputError
        If the set is unknown, there is no plane, or the span is too short for the terms.
    """
    if kind not in SETS:
        raise InputError("unknown set of angles", found=kind, expected=" or ".join(SETS))
    if harmonics < 1:
        raise InputError(
            "no term is asked for", field="harmonics", found=harmonics, expected=">= 1"
        )
    first = angle_sets(orientation, Epochs.of(start), plane)
    used = first.plane
    orbit = mean_orbit(_Frame(body, *used), ephemeris, start, stop)
    multiples = np.arange(1, harmonics + 1)
    arguments = multiples * orbit.anomaly_rate, multiples * orbit.anomaly

    def on_plane(epochs: Epochs) -> Array:
        found = angle_sets(orientation, epochs, used)
        return np.stack([found.psi, found.eps], axis=1)

    def on_equator(epochs: Epochs) -> Array:
        found = angle_sets(orientation, epochs, used)
        return np.stack([found.alpha, found.delta], axis=1)

    if kind == "equatorial":
        return AngleSeries(body, kind, equatorial_series(used, on_plane, start, stop, *arguments))
    return AngleSeries(body, kind, orbit_series(used, on_equator, start, stop, *arguments))
