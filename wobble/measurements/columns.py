"""Measurements from a table of any form, by what its columns are.

In: columns of texts or numbers, each with the part that it plays, and a `TableDescription` of what
they mean. Out: a `Tracking`. Times become UTC at the event that a table of measurements has;
round trips become their one-way equivalent, times of flight lengths, shifts in hertz speeds;
stations may have other names from a date on; a gap parts passes.

Conversions: half the round trip times the speed of light (IAU value, exact); the shift of a
coherently returned carrier is ``-2 v/c`` times turnaround ratio times uplink frequency, that of a
one-way carrier ``-v/c`` times its nominal frequency (`wobble.measurements.tracking`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from astropy import units
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.constants import GPS_MINUS_TAI, SPEED_OF_LIGHT
from wobble.errors import InputError, UnknownNameError
from wobble.measurements.kinds import KINDS, Kind
from wobble.measurements.tracking import RowError, Tracking

__all__ = [
    "ROLES",
    "TIME_FORMS",
    "Renamed",
    "TableDescription",
    "tracking_from_columns",
    "tracking_from_table",
]

Array = NDArray[np.float64]
Names = NDArray[np.str_]
Cells = Mapping[str, Any]
At = Callable[[int, str, str, object, object], InputError]
"""The error about a row: its number from 0, the part its cell plays, problem, found, expected."""

ROLES = {
    "station": "the station, where it transmits and receives",
    "transmitter": "the transmitting station",
    "receiver": "the receiving station",
    "lander": "the lander",
    "time": "the time tag; several columns are joined by blanks",
    "value": "what was measured",
    "sigma": "its standard deviation",
    "count_time": "the count time",
    "frequency": "the frequency of the uplink, or the nominal one of a one-way downlink",
    "pass": "the name of the pass",
}
NUMERIC = ("value", "sigma", "count_time", "frequency")
TIME_FORMS = {
    "iso": "2031-05-01T06:51:40.5",
    "mjd": "62988.25",
    "jd": "2462988.75",
    "seconds of the year": "2031 10396300.5, year and seconds since its start",
}
"""Beside a pattern with per cent signs, such as ``%Y %b %d %H:%M:%S``."""
SCALES = {"UTC": 0.0, "TAI": 0.0, "TT": 0.0, "TDB": 0.0, "GPS": -GPS_MINUS_TAI}
"""Known scales, and by how much TAI is ahead of one that the astropy library does not know, s."""
TAGS = ("reception", "transmission")
COUNT_TAGS = {"middle": 0.0, "start": 0.5, "end": -0.5}
"""Where in a count its tag is, and what has to be added to it, in count times."""
PATHS = {"round trip": 2.0, "one way": 1.0}


@dataclass(frozen=True)
class Renamed:
    """A name in a table that means different stations at different times.

    Attributes
    ----------
    name : str
        Of the station.
    until : Time or None
        Up to when, exclusive; None for ever.
    """

    name: str
    until: Time | None = None


@dataclass(frozen=True)
class TableDescription:
    """What the columns of a table of measurements mean.

    Parameters
    ----------
    kind : str
        One of `wobble.measurements.kinds.KINDS`.
    unit : str
        Of the values: of time or length for a range, of speed or hertz for a range rate.
    sigma_unit : str
        Of their standard deviations; as the values if left out.
    path : {"round trip", "one way"}
        Whether values are of the whole round trip or its one-way equivalent.
    time : str
        One of `TIME_FORMS`, or a pattern.
    scale : str
        Of the time tags: UTC, TAI, TT, TDB or GPS.
    tag : str
        ``"reception"`` or ``"transmission"``; ``"middle"``, ``"start"`` or ``"end"`` of a count.
    constants : mapping of str to str or float
        What is the same in all rows, by the part that it would play as a column, numbers in SI.
    stations : mapping of str to sequence of Renamed
        Stations by their names in the table; other names stay.
    landers : mapping of str to str
        Likewise landers.
    known : collection of str
        Names that stations and landers may have in the end; any if there are none.
    turnaround : float
        Of the transponder, for shifts in hertz.
    gap : float
        A pass ends where none of its stations and lander has a measurement for so long, s.
    """

    kind: str
    unit: str
    sigma_unit: str = ""
    path: str = "round trip"
    time: str = "iso"
    scale: str = "UTC"
    tag: str = "reception"
    constants: Mapping[str, str | float] = field(default_factory=dict)
    stations: Mapping[str, Sequence[Renamed]] = field(default_factory=dict)
    landers: Mapping[str, str] = field(default_factory=dict)
    known: Collection[str] = ()
    turnaround: float = np.nan
    gap: float = 3.0 * 3600.0

    def __post_init__(self) -> None:
        tags = COUNT_TAGS if self.known_kind.counted else TAGS
        for name, value, known in (
            ("path", self.path, PATHS),
            ("scale", self.scale, SCALES),
            ("tag", self.tag, tags),
        ):
            if value not in known:
                raise UnknownNameError(name, value, known, field=name)
        if "%" not in self.time and self.time not in TIME_FORMS:
            raise UnknownNameError("form of time", self.time, TIME_FORMS, field="time")
        if not self.gap > 0:
            raise InputError("a gap is a positive time", field="gap", found=self.gap)
        for name, unit in (("unit", self.unit), ("sigma_unit", self.sigma_unit or self.unit)):
            self._factor(name, unit)

    @property
    def known_kind(self) -> Kind:
        """The kind of the measurements.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        """
        if self.kind not in KINDS:
            raise UnknownNameError("kind of measurement", self.kind, KINDS, field="kind")
        return KINDS[self.kind]

    def _factor(self, name: str, unit: str) -> tuple[float, bool]:
        """SI value of a unit, and whether it is of a time or a frequency."""
        expected = "a unit of speed, or hertz" if self.known_kind.counted else "of time or length"
        try:
            known = units.Unit(unit)
        except ValueError as error:
            raise InputError("unknown unit", field=name, found=unit, expected=expected) from error
        own, other = ("m / s", "Hz") if self.known_kind.counted else ("m", "s")
        for si, is_other in ((own, False), (other, True)):
            if known.is_equivalent(units.Unit(si)):
                return float(known.to(units.Unit(si))), is_other
        raise InputError("unit of another dimension", field=name, found=unit, expected=expected)

    def one_way(self, values: Array, frequency: Array, name: str = "unit") -> Array:
        """Values, or with ``"sigma_unit"`` their standard deviations, as the table has them, SI."""
        unit = self.unit if name == "unit" else self.sigma_unit or self.unit
        factor, other = self._factor(name, unit)
        values = values * factor
        if not other:
            return values / PATHS[self.path] if self.known_kind.ways == 2 else values
        if not self.known_kind.counted:
            return values * SPEED_OF_LIGHT / PATHS[self.path]
        sign = -1.0 if name == "unit" else 1.0
        if self.known_kind.ways == 1:
            return sign * values * SPEED_OF_LIGHT / frequency
        if np.isnan(self.turnaround):
            raise InputError(
                "shifts in hertz of a returned carrier need its turnaround ratio",
                field="turnaround",
                expected='such as "880/749"',
            )
        return sign * values * SPEED_OF_LIGHT / (2.0 * self.turnaround * frequency)


def tracking_from_columns(
    cells: Cells, description: TableDescription, at: At, meta: Mapping[str, Any]
) -> Tracking:
    """The table of measurements that columns are by their description.

    Parameters
    ----------
    cells : mapping of str to sequence
        Columns by the part that they play (`ROLES`), of equal length; ``time`` may be a `Time`,
        and is otherwise texts or numbers.
    description : TableDescription
    at : callable
        Makes the error about a row.
    meta : mapping
        What the measurements came from.

    Raises
    ------
    InputError
        If a column is missing or a cell cannot be what it should be.
    """
    n = len(next(iter(cells.values()))) if cells else 0
    if not n:
        raise InputError("the table has no row", expected="at least one")
    columns = _Columns(cells, description, at, n)
    kind = description.known_kind
    frequency = columns.numbers("frequency")
    count = columns.numbers("count_time") if kind.counted else np.full(n, np.nan)
    epoch = columns.epoch()
    if kind.counted:
        shift = COUNT_TAGS[description.tag] * count
        epoch = (epoch.tai + TimeDelta(shift, format="sec")).utc
    lander = columns.names("lander", {k: (Renamed(v),) for k, v in description.landers.items()})
    transmitter, receiver = (
        columns.names(columns.either(end), description.stations, epoch)
        for end in ("transmitter", "receiver")
    )
    try:
        return Tracking(
            pass_id=columns.passes(transmitter, receiver, lander, epoch),
            transmitter=transmitter,
            receiver=receiver,
            lander=lander,
            kind=np.full(n, kind.name),
            epoch=epoch,
            tag=np.full(n, "transmit" if description.tag == "transmission" else "receive"),
            count_time=count,
            value=description.one_way(columns.numbers("value"), frequency),
            sigma=description.one_way(columns.numbers("sigma"), frequency, "sigma_unit"),
            frequency=frequency,
            meta=dict(meta),
        )
    except RowError as error:
        field = str(error.field)
        raise at(error.row, field, error.problem, error.found, error.expected) from error


def tracking_from_table(
    table: Any, columns: Mapping[str, str | Sequence[str]], **description: Any
) -> Tracking:
    """As `Tracking.from_table`."""
    stations = {
        name: (Renamed(meaning),) if isinstance(meaning, str) else tuple(meaning)
        for name, meaning in dict(description.pop("stations", {})).items()
    }
    described = TableDescription(stations=stations, **description)
    cells: dict[str, Any] = {}
    for role, names in columns.items():
        if role not in ROLES:
            raise UnknownNameError("part of a measurement", role, ROLES, field="columns")
        parts = [_column(table, name) for name in ([names] if isinstance(names, str) else names)]
        cells[role] = (
            parts[0]
            if len(parts) == 1
            else [" ".join(map(str, row)) for row in zip(*parts, strict=True)]
        )

    def at(row: int, role: str, problem: str, found: object, expected: object) -> InputError:
        field = f"row {row}, {role} ({columns.get(role, 'constant')})"
        return InputError(problem, source="table", field=field, found=found, expected=expected)

    return tracking_from_columns(cells, described, at, {})


def _column(table: Any, name: str) -> Any:
    """A column of a table, in numbers, texts or times."""
    try:
        column = table[name]
    except (KeyError, IndexError) as error:
        known = [str(c) for c in getattr(table, "columns", table)]
        raise UnknownNameError("column", name, known, field="columns") from error
    if isinstance(column, Time):
        return column
    return np.asarray(column)


class _Columns:
    """Columns by their parts, or constants in their place."""

    def __init__(self, cells: Cells, description: TableDescription, at: At, n: int) -> None:
        self._cells, self._description, self._at, self._n = cells, description, at, n

    def either(self, end: str) -> str:
        """The part that tells a station at one end: its own, or that of both."""
        known = {*self._cells, *self._description.constants}
        return end if end in known else "station"

    def _column(self, role: str) -> Any:
        if role in self._cells:
            return self._cells[role]
        constants = self._description.constants
        if role in constants:
            return np.full(self._n, constants[role])
        raise InputError(
            f"nothing says what is {ROLES[role]}",
            field=role,
            expected="a column, or a constant for all rows",
        )

    def numbers(self, role: str) -> Array:
        """A column of finite numbers."""
        column = self._column(role)
        try:
            numbers = np.asarray(column, float)
        except (TypeError, ValueError):
            numbers = np.array([_number(cell) for cell in column])
        bad = ~np.isfinite(numbers)
        if bad.any():
            row = int(np.argmax(bad))
            raise self._at(row, role, "not a finite number", str(column[row]), "a number")
        return numbers

    def names(
        self, role: str, known: Mapping[str, Sequence[Renamed]], epoch: Time | None = None
    ) -> Names:
        """A column of names, as the scenario has them."""
        column = np.array([str(cell).strip() for cell in self._column(role)])
        if (column == "").any():
            row = int(np.argmax(column == ""))
            raise self._at(row, role, "no name", "", ROLES[role])
        found = column.astype(object)
        for name, meanings in known.items():
            left = column == name
            for meaning in meanings:
                before = left
                if meaning.until is not None and epoch is not None:
                    before = left & np.asarray(epoch < meaning.until)
                found[before] = meaning.name
                left = left & ~before
        self._require_known(role, column, found)
        return found.astype(str)

    def _require_known(self, role: str, column: Names, found: NDArray[np.object_]) -> None:
        known = sorted(self._description.known)
        strange = ~np.isin(found.astype(str), known) if known else np.zeros(self._n, bool)
        if strange.any():
            row = int(np.argmax(strange))
            raise self._at(
                row, role, "no such name", str(column[row]), f"one of {', '.join(known)}"
            )

    def epoch(self) -> Time:
        """The time tags in UTC."""
        column = self._column("time")
        description = self._description
        if isinstance(column, Time):
            return column.utc
        scale = "tai" if description.scale == "GPS" else description.scale.lower()
        try:
            epoch = _times(column, description.time, scale)
        except (ValueError, TypeError) as error:
            row = next((k for k in range(self._n) if not self._is_time(column[k], scale)), 0)
            expected = TIME_FORMS.get(description.time, description.time)
            raise self._at(row, "time", "no such time", str(column[row]), expected) from error
        ahead = SCALES[description.scale]
        return (epoch + TimeDelta(ahead, format="sec")).utc if ahead else epoch.utc

    def _is_time(self, cell: Any, scale: str) -> bool:
        try:
            _times(np.array([cell]), self._description.time, scale)
        except (ValueError, TypeError):
            return False
        return True

    def passes(self, transmitter: Names, receiver: Names, lander: Names, epoch: Time) -> Names:
        """Names of the passes: those given, or one after each gap."""
        if "pass" in self._cells:
            return np.array([str(cell) for cell in self._cells["pass"]])
        names = np.empty(self._n, object)
        seconds = (epoch - epoch[0]).sec
        ends = np.array(["\0".join(e) for e in zip(transmitter, receiver, lander, strict=True)])
        used: dict[str, int] = {}
        for pair in dict.fromkeys(ends.tolist()):
            rows = np.flatnonzero(ends == pair)
            rows = rows[np.argsort(seconds[rows], kind="stable")]
            parts = np.split(
                rows, 1 + np.flatnonzero(np.diff(seconds[rows]) > self._description.gap)
            )
            for part in parts:
                day = epoch[part[0]].isot[:10]
                name = f"{receiver[part[0]]}-{lander[part[0]]}-{day}"
                used[name] = used.get(name, 0) + 1
                names[part] = name if used[name] == 1 else f"{name}-{used[name]}"
        return names.astype(str)


def _number(cell: Any) -> float:
    try:
        return float(str(cell).strip())
    except ValueError:
        return np.nan


def _times(column: Any, form: str, scale: str) -> Time:
    """Times in two parts, so that no digit of a long number is lost."""
    if np.issubdtype(np.asarray(column).dtype, np.datetime64):
        return Time(np.asarray(column), scale=scale)
    texts = [str(cell).strip() for cell in column]
    if "%" in form:
        return Time.strptime(texts, form, scale=scale)
    if form == "iso":
        return Time(texts, format="isot" if "T" in texts[0] else "iso", scale=scale)
    if form == "seconds of the year":
        years, seconds = zip(*(text.split() for text in texts), strict=True)
        start = Time([f"{year}-01-01" for year in years], format="iso", scale=scale)
        return start + TimeDelta(np.array(seconds, float), format="sec")
    whole, part = zip(*(text.partition(".")[::2] for text in texts), strict=True)
    return Time(
        np.array(whole, float),
        np.array([f"0.{p or 0}" for p in part], float),
        format=form,
        scale=scale,
    )
