"""The Earth's orientation: from ITRF to GCRS.

In: a terrestrial vector (m) and TT epochs. Out: the vector in the GCRS, its velocity, and
its exact increment over an interval, shape (n, 3).

``GCRS = Q(X, Y) Rz(s - ERA - s') Ry(x_p) Rx(y_p) ITRF`` in passive rotations (each turns a
vector by the negative angle): celestial pole by IAU 2006/2000A with the observed offsets
dX, dY; Earth rotation angle from UT1; polar motion (IERS Conventions 2010, eqs. 5.1 to
5.5). The sub-daily variations of polar motion and UT1 by ocean tides and libration, up to
1 mas or 3 cm at the surface, are added to the table (chapter 8 and section 5.5).

All slow quantities are put on Chebyshev records when the object is made, so that a million
epochs cost no more than the polynomials; the error of that is below 1e-7 m.

The table is the one that `astropy-iers-data` carries: final values (C04) as far as they go,
then the rapid and predicted values of the weekly bulletin. What lies after its end is an
error in a fit; for plans, ``extend=True`` continues it by a rule (`extended`). UT1 may then
be off by some 0.3 s a year, that is 140 m at the equator and 0.3 s in a rise time; the
`note` of the result says so.
"""

from __future__ import annotations

import functools
import hashlib
import warnings
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Self

import astropy_iers_data
import erfa
import numpy as np
from astropy.time import Time
from astropy.units import Quantity
from astropy.utils.iers import IERS_A, IERS_B
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, EARTH_ROTATION_RATE, JULIAN_CENTURY, MAS, TT_MINUS_TAI
from wobble.earth.subdaily import subdaily_variations
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError
from wobble.rotations import Turn, cross, of_components

__all__ = ["EarthOrientation", "OrientationTable", "packaged_table", "table_of"]

Array = NDArray[np.float64]

MJD_OF_J2000 = 51544.5
MJD_OF_1972 = 41317.0
# Columns of the standard files that are wanted, with the unit here.
COLUMNS = {"UT1_UTC": "s", "PM_x": "rad", "PM_y": "rad", "dX_2000A": "rad", "dY_2000A": "rad"}
# Rate of the TIO locator, -47 microarcseconds a century (IERS Conventions 2010, eq. 5.13).
TIO_RATE = -47e-3 * MAS / JULIAN_CENTURY
# Of the Earth rotation angle (IERS Conventions 2010, eq. 5.15): turns at J2000.0 UT1, and what
# it turns in a UT1 day beyond one turn.
TURN_AT_J2000 = 0.7790572732640
MORE_TURNS_PER_DAY = 0.00273781191135448
# Error of UT1 - TAI continued at its last yearly rate. In the table since 1973 it was 0.1 s rms
# and 0.3 s at most after one year, 2 s rms and 5 s at most after ten.
UT1_DRIFT_SCATTER_PER_YEAR = 0.3


@dataclass(frozen=True, eq=False)
class OrientationTable:
    """Daily Earth orientation parameters.

    Parameters
    ----------
    mjd : ndarray, shape (m,)
        UTC days, consecutive.
    x_pole, y_pole : ndarray, shape (m,)
        Pole coordinates, rad.
    ut1_minus_tai : ndarray, shape (m,)
        s; continuous over leap seconds.
    dx, dy : ndarray, shape (m,)
        Offsets of the celestial pole from IAU 2006/2000A, rad.
    status : ndarray of str, shape (m,)
        ``"final"``, ``"rapid"`` or ``"predicted"``.
    source : str
        Where the table comes from.
    """

    mjd: Array
    x_pole: Array
    y_pole: Array
    ut1_minus_tai: Array
    dx: Array
    dy: Array
    status: NDArray[np.str_]
    source: str

    def __post_init__(self) -> None:
        if self.mjd.size < 4:
            raise InputError(
                "an Earth-orientation table needs at least four days",
                source=self.source,
                found=self.mjd.size,
            )
        steps = np.diff(self.mjd)
        if not np.all(steps == 1.0):
            raise InputError(
                "the days of an Earth-orientation table must follow one another",
                source=self.source,
                found=f"a step of {steps[steps != 1.0][0]} days after MJD "
                f"{self.mjd[:-1][steps != 1.0][0]}",
                expected="steps of one day",
            )
        for name in ("x_pole", "y_pole", "ut1_minus_tai", "dx", "dy"):
            if not np.isfinite(getattr(self, name)).all():
                raise InputError("value is not finite", source=self.source, field=name)

    @cached_property
    def identity(self) -> str:
        """The same for tables of the same values alone, wherever they come from.

        Days by which a table was extended follow from the others, and do not count.
        """
        columns = (self.mjd, self.x_pole, self.y_pole, self.ut1_minus_tai, self.dx, self.dy)
        given = np.stack(columns)[:, self.status != "extended"]
        values = np.ascontiguousarray(given, dtype="<f8")
        return hashlib.sha256(values.tobytes()).hexdigest()[:12]

    def last_day(self, status: str) -> float:
        """Last MJD whose values have this status; NaN if there is none."""
        days = self.mjd[self.status == status]
        return float(days[-1]) if days.size else float("nan")

    def status_on(self, mjd: float) -> str:
        """Status of the last day before an instant within the table."""
        return str(self.status[int(mjd - self.mjd[0])])

    def __repr__(self) -> str:
        ends = ", ".join(
            f"{status} to {_iso(self.last_day(status))}"
            for status in ("final", "rapid", "predicted", "extended")
            if np.isfinite(self.last_day(status))
        )
        return f"<Earth orientation from {self.source}: {ends}>"


@functools.cache
def packaged_table() -> OrientationTable:
    """The table of `astropy-iers-data`: C04 finals from 1972 on, then rapid and predicted values.

    Before 1972 UTC had no leap seconds but steps of 0.1 s and a rate.

    Predictions carry no celestial-pole offsets after some weeks: the last ones are held
    (their scatter is 0.3 mas, 1 cm at the surface).
    """
    return table_of(
        f"astropy-iers-data {astropy_iers_data.__version__}",
        final=IERS_B.read(astropy_iers_data.IERS_B_FILE),
        weekly=IERS_A.read(astropy_iers_data.IERS_A_FILE),
    )


def table_of(source: str, *, final: Any = None, weekly: Any = None) -> OrientationTable:
    """A table of what astropy reads from the standard files.

    Parameters
    ----------
    source : str
    final : astropy.utils.iers.IERS_B, optional
        Final values (C04).
    weekly : astropy.utils.iers.IERS_A, optional
        Those of the weekly bulletin, taken after the end of the final ones.

    Raises
    ------
    InputError
        If the days are too few or do not follow one another, or a value is missing.
    """
    days, columns, status = [], [], []
    if final is not None:
        final = final[_numbers(final["MJD"], "d") >= MJD_OF_1972]
        days.append(_numbers(final["MJD"], "d"))
        columns.append([_numbers(final[name], unit) for name, unit in COLUMNS.items()])
        status.append(np.full(len(final), "final"))
    if weekly is not None:
        mjd = _numbers(weekly["MJD"], "d")
        after = -np.inf if final is None or not days[0].size else days[0][-1]
        weekly = weekly[(mjd > after) & np.isfinite(_numbers(weekly["UT1_UTC_A"], "s"))]
        days.append(_numbers(weekly["MJD"], "d"))
        columns.append(
            [_hold_last(_numbers(weekly[f"{name}_A"], unit)) for name, unit in COLUMNS.items()]
        )
        flags = np.asarray(weekly["UT1Flag_A"]).astype(str)
        status.append(np.where(flags == "P", "predicted", "rapid"))
    mjd = np.concatenate(days)
    ut1_minus_utc, x_pole, y_pole, dx, dy = np.concatenate(columns, axis=1)
    leap_seconds = np.round((Time(mjd, format="mjd", scale="utc").tai.mjd - mjd) * DAY)
    return OrientationTable(
        mjd=mjd,
        x_pole=x_pole,
        y_pole=y_pole,
        ut1_minus_tai=ut1_minus_utc - leap_seconds,
        dx=dx,
        dy=dy,
        status=np.concatenate(status),
        source=source,
    )


def _numbers(column: Any, unit: str) -> Array:
    """A column of a table in this unit, NaN where nothing stands."""
    values: Array = np.ma.filled(np.ma.asarray(column.value, float), np.nan)
    return np.asarray(Quantity(values, column.unit).to_value(unit), float)


def _hold_last(values: Array) -> Array:
    """The last value held to the end of a column that breaks off."""
    if not values.size:
        return values
    last = np.flatnonzero(np.isfinite(values)).max(initial=0)
    return np.where(np.arange(values.size) > last, values[last], values)


def extended(table: OrientationTable, last_mjd: float) -> OrientationTable:
    """The table continued to ``last_mjd`` by rule: UT1 - TAI at its mean rate, the pole held.

    The rate is that of the last year of the table, so that the season's swing does not tilt it.
    """
    missing = np.arange(table.mjd[-1] + 1.0, np.ceil(last_mjd) + 1.0)
    if not missing.size:
        return table
    year = min(365, table.mjd.size - 1)
    rate = (table.ut1_minus_tai[-1] - table.ut1_minus_tai[-1 - year]) / year

    def held(values: Array) -> Array:
        return np.concatenate([values, np.full(missing.size, values[-1])])

    return OrientationTable(
        mjd=np.concatenate([table.mjd, missing]),
        x_pole=held(table.x_pole),
        y_pole=held(table.y_pole),
        ut1_minus_tai=np.concatenate(
            [table.ut1_minus_tai, table.ut1_minus_tai[-1] + rate * (missing - table.mjd[-1])]
        ),
        dx=held(table.dx),
        dy=held(table.dy),
        status=np.concatenate([table.status, np.full(missing.size, "extended")]),
        source=table.source,
    )


@dataclass(frozen=True, eq=False)
class EarthOrientation:
    """The Earth's orientation over a span, ready for many epochs.

    Build it with `EarthOrientation.over`. All methods take TT epochs within the span.
    """

    table: OrientationTable
    celestial_pole: ChebyshevTable = field(repr=False)
    spin_and_pole: ChebyshevTable = field(repr=False)
    note: str = ""

    @classmethod
    def over(
        cls,
        start: Epochs,
        stop: Epochs,
        table: OrientationTable | None = None,
        *,
        extend: bool = False,
    ) -> Self:
        """Prepare a span.

        Parameters
        ----------
        start, stop : Epochs
            First and last instant (one each), TT or TDB; a day is added on either side.
        table : OrientationTable, optional
            The packaged table if left out.
        extend : bool
            Continue the table by rule where the span lies after its end, for plans; the
            `note` of the result then says so.

        Raises
        ------
        EpochRangeError
            If the span lies outside the table and ``extend`` is not given.
        InputError
            If the span ends before it starts.
        """
        first, last = start.seconds[0] - DAY, stop.seconds[-1] + DAY
        table, note = _covering(table or packaged_table(), first, last, extend=extend)
        since_j2000 = (table.mjd - MJD_OF_J2000) * DAY
        near = (since_j2000 > first - 20 * DAY) & (since_j2000 < last + 20 * DAY)
        tt_days = _tt_of_utc_days(table.mjd[near])
        pole_offsets = CubicSpline(tt_days, np.column_stack([table.dx[near], table.dy[near]]))
        ut1_minus_tt = table.ut1_minus_tai[near] - TT_MINUS_TAI
        daily = CubicSpline(
            tt_days, np.column_stack([table.x_pole[near], table.y_pole[near], ut1_minus_tt])
        )
        fit = functools.partial(ChebyshevTable.fit, scale="tt", name="Earth orientation")
        # The theory is dear, 1365 terms, and smooth: on long records first.
        theory = fit(_celestial_pole_of_theory, first - DAY, last + DAY, 4 * DAY, 12)

        def celestial_pole(epochs: Epochs) -> Array:
            offsets = pole_offsets(epochs.since_j2000)
            return theory.value(epochs) + np.column_stack([offsets, np.zeros(len(epochs))])

        def spin_and_pole(epochs: Epochs) -> Array:
            return daily(epochs.since_j2000) + np.column_stack(subdaily_variations(epochs))

        # Records end at midnight, a minute from the knots of the splines, so that a
        # polynomial never runs over the kink of a knot.
        return cls(
            table,
            fit(celestial_pole, first, last, DAY / 2, 6),
            fit(spin_and_pole, first, last, DAY / 4, 10),
            note,
        )

    def terrestrial_pole(self, epochs: Epochs) -> tuple[Array, Array]:
        """Pole coordinates x_p, y_p, rad, shape (n,) each."""
        values = self.spin_and_pole.value(epochs)
        return values[:, 0], values[:, 1]

    def gcrs(self, itrf: Array, epochs: Epochs) -> Array:
        """GCRS vectors of terrestrial ones ((3,) or (n, 3)), m, shape (n, 3)."""
        x, y, turns = self._turns(epochs)
        turned = itrf
        for turn in turns:
            turned = turn.of(turned)
        return _to_celestial(x, y, turned)

    def itrf(self, gcrs: Array, epochs: Epochs) -> Array:
        """Terrestrial vectors of GCRS ones, shape (n, 3)."""
        x, y, turns = self._turns(epochs)
        back = _from_celestial(x, y, gcrs)
        for turn in reversed(turns):
            back = turn.back(back)
        return back

    def _turns(self, epochs: Epochs) -> tuple[Array, Array, list[Turn]]:
        """Celestial pole X, Y, and the turns from the ITRF by polar motion and spin."""

        def compute() -> tuple[Array, Array, list[Turn]]:
            x, y, s = self.celestial_pole.value(epochs).T
            xp, yp, ut1_minus_tt = self.spin_and_pole.value(epochs).T
            angle = earth_rotation_angle(epochs, ut1_minus_tt) + tio_locator(epochs) - s
            return x, y, [Turn("x", -yp), Turn("y", -xp), Turn("z", angle)]

        return epochs.once(self, compute)

    def velocity(self, gcrs: Array) -> Array:
        """Velocity in the GCRS of a point fixed to the Earth, m/s, shape (n, 3).

        The spin about the celestial pole at the middle of the span. The pole moves away from
        there by 0.05 m/s a year at the equator, and nods by 0.02 m/s; all else is below
        1e-4 m/s. It serves light-time steps and partial derivatives; range rates are made
        from `increment`, which is exact.
        """
        return cross(self._spin, gcrs)

    @functools.cached_property
    def _spin(self) -> Array:
        """Angular velocity at the middle of the span, rad/s, shape (3,)."""
        poles = self.celestial_pole
        x, y, _ = poles.value(Epochs.of((poles.start + poles.stop) / 2.0, scale="tt"))[0]
        return EARTH_ROTATION_RATE * np.array([x, y, np.sqrt(1.0 - x * x - y * y)])

    def increment(self, itrf: Array, itrf_step: Array, epochs: Epochs, interval: Array) -> Array:
        """Change of `gcrs` over ``interval`` seconds of TT, m, shape (n, 3), not subtracted.

        Parameters
        ----------
        itrf, itrf_step : ndarray, shape (3,) or (n, 3)
            Terrestrial vector at the start and its own change over the interval, m.
        epochs : Epochs
            Starts, TT.
        interval : ndarray, shape (n,)
            s.
        """
        x, y, turns = self._turns(epochs)
        dx, dy, ds = self.celestial_pole.increment(epochs, interval).T
        dxp, dyp, dut1 = self.spin_and_pole.increment(epochs, interval).T
        spin_step = EARTH_ROTATION_RATE * (interval + dut1) + TIO_RATE * interval - ds
        turned, step = itrf, itrf_step
        for turn, angle_step in zip(turns, (-dyp, -dxp, spin_step), strict=True):
            step = turn.increment(angle_step, turned, step)
            turned = turn.of(turned)
        return _to_celestial_increment(x, y, dx, dy, turned, step)


def _covering(
    table: OrientationTable, first: float, last: float, *, extend: bool
) -> tuple[OrientationTable, str]:
    """The table, continued if need be and allowed, and a note on what is not measured in it."""
    first_mjd, last_mjd = (MJD_OF_J2000 + t / DAY for t in (first, last))
    asked = f"{_iso(first_mjd + 1)} to {_iso(last_mjd - 1)}"
    if last < first + 2 * DAY:
        raise InputError("a span ends before it starts", field="Earth orientation", found=asked)
    note = ""
    if extend and last_mjd > table.mjd[-1] - 1:
        note = _note_of_extension(table.mjd[-1], last_mjd)
        table = extended(table, last_mjd + 4)
    outside = np.array([first_mjd < table.mjd[0] + 1, last_mjd > table.mjd[-1] - 1])
    if outside.any():
        raise EpochRangeError(
            "the span lies outside the Earth-orientation table",
            outside,
            source=table.source,
            found=asked,
            expected=f"{_iso(table.mjd[0] + 2)} to {_iso(table.mjd[-1] - 2)}",
        )
    if table.status_on(last_mjd) == "predicted":
        note = "the last part of the span has predicted Earth orientation"
    return table, note


def _tt_of_utc_days(mjd: Array) -> Array:
    """TT, seconds since J2000.0, at which UTC days begin."""
    with warnings.catch_warnings():
        # The warning is of leap seconds not yet announced, of which a plan assumes none.
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        return Epochs.from_time(Time(mjd, format="mjd", scale="utc"), "tt").since_j2000


def _celestial_pole_of_theory(epochs: Epochs) -> Array:
    """X, Y and the locator s of IAU 2006/2000A, rad, shape (n, 3)."""
    return np.column_stack(erfa.xys06a(*epochs.julian_date))


def earth_rotation_angle(epochs: Epochs, ut1_minus_tt: Array) -> Array:
    """Earth rotation angle, rad (IERS Conventions 2010, eq. 5.15), from TT and UT1 - TT."""
    days = np.floor(epochs.seconds / DAY)
    part = ((epochs.seconds - days * DAY) + (epochs.fraction + ut1_minus_tt)) / DAY
    # Whole turns, one for each whole day among them, are taken off before anything is rounded.
    more = MORE_TURNS_PER_DAY * (days + part)
    turns = (more - np.floor(more)) + (TURN_AT_J2000 + part)
    return 2.0 * np.pi * (turns - np.floor(turns))


def tio_locator(epochs: Epochs) -> Array:
    """TIO locator s', rad (IERS Conventions 2010, eq. 5.13)."""
    return TIO_RATE * epochs.since_j2000


def _to_celestial(x: Array, y: Array, vectors: Array) -> Array:
    """``Q(X, Y)`` without s (IERS Conventions 2010, eq. 5.10, with a = 1/(1 + Z))."""
    z = np.sqrt(1.0 - x * x - y * y)
    across = (x * vectors[:, 0] + y * vectors[:, 1]) / (1.0 + z)
    vz = vectors[:, 2]
    return of_components(
        vectors[:, 0] + x * (vz - across),
        vectors[:, 1] + y * (vz - across),
        z * vz - (x * vectors[:, 0] + y * vectors[:, 1]),
    )


def _from_celestial(x: Array, y: Array, vectors: Array) -> Array:
    """The inverse of `_to_celestial`."""
    z = np.sqrt(1.0 - x * x - y * y)
    dot = x * vectors[:, 0] + y * vectors[:, 1]
    lowered = dot / (1.0 + z) + vectors[:, 2]
    return of_components(
        vectors[:, 0] - x * lowered, vectors[:, 1] - y * lowered, dot + z * vectors[:, 2]
    )


def _to_celestial_increment(
    x: Array, y: Array, dx: Array, dy: Array, vectors: Array, steps: Array
) -> Array:
    """Change of `_to_celestial` when the pole moves by (dx, dy) and the vectors by ``steps``.

    Products change by ``d(fg) = df g_end + f dg``; Z by ``-(dx (2x + dx) + ...)/(Z_s + Z_e)``.
    """
    xe, ye, ends = x + dx, y + dy, vectors + steps
    z, ze = np.sqrt(1.0 - x * x - y * y), np.sqrt(1.0 - xe * xe - ye * ye)
    dz = -(dx * (x + xe) + dy * (y + ye)) / (z + ze)
    dot_end = xe * ends[:, 0] + ye * ends[:, 1]
    ddot = dx * ends[:, 0] + dy * ends[:, 1] + x * steps[:, 0] + y * steps[:, 1]
    dacross = ddot / (1.0 + z) - dot_end * dz / ((1.0 + z) * (1.0 + ze))
    lifted_end = ends[:, 2] - dot_end / (1.0 + ze)
    dlifted = steps[:, 2] - dacross
    return of_components(
        steps[:, 0] + dx * lifted_end + x * dlifted,
        steps[:, 1] + dy * lifted_end + y * dlifted,
        dz * ends[:, 2] + z * steps[:, 2] - ddot,
    )


def _note_of_extension(end_of_table: float, last_mjd: float) -> str:
    years = (last_mjd - end_of_table) / 365.25
    error = max(years, 0.1) * UT1_DRIFT_SCATTER_PER_YEAR
    return (
        f"Earth orientation continued by rule after {_iso(end_of_table)} (UT1 at its last yearly "
        f"rate, pole held), by {years:.1f} years: UT1 uncertain by some {error:.1f} s, a station "
        f"by some {error * 465:.0f} m and a rise time by some {error:.1f} s; no new leap second "
        "is assumed"
    )


def _iso(mjd: float) -> str:
    return str(Time(mjd, format="mjd", scale="tt").isot[:10])
