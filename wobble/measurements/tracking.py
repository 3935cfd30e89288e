"""The table of measurements that is simulated, read, fitted and written.

In: columns of equal length, one row per measurement, from a file's reader or from the
simulator. Out: `Tracking`, checked once, sliced and joined like an array.

Three kinds are known. ``range`` is half the round trip on the station's clock times the
speed of light, in m. ``range_rate`` is the average over the count time of the one-way
range rate, in m/s: half the change of the round trip over the count. ``one_way_range_rate`` is that
of a downlink from the lander's own oscillator, ``c (f_0 - f_R) / f_0`` with the nominal
frequency f_0: the lander sends, and the receiver is named as transmitter too. The epoch of a range
belongs to the event that its tag names (transmission or reception at the station); the
epoch of a range rate is the middle of the count at the receiver.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.measurements.kinds import KINDS, Kind

if TYPE_CHECKING:  # they need not be installed
    import pandas
    import xarray

__all__ = ["TAGS", "WEATHER_LIMITS", "RowError", "Tracking"]

Array = NDArray[np.float64]
Names = NDArray[np.str_]

TAGS = ("receive", "transmit")
NAME_COLUMNS = ("pass_id", "transmitter", "receiver", "lander", "kind", "tag")
WEATHER_LIMITS = {
    "pressure_hpa": (300.0, 1100.0),
    "temperature_k": (180.0, 335.0),
    "humidity_percent": (0.0, 100.0),
}
"""What a station on the ground can measure, from the Dead Sea to the highest mountains; other
numbers are in other units, or no numbers. The formulas for the air take what lies within."""


class RowError(InputError):
    """A measurement that cannot be used.

    Attributes
    ----------
    row : int
        Its row in the table, from 0; a reader knows the line from it.
    """

    row: int = 0


@dataclass(frozen=True, eq=False, repr=False)
class Tracking:
    """Measurements, one row each, in the order of their file.

    Parameters
    ----------
    pass_id : array_like of str, shape (n,)
        Measurements of one pass share the biases that are local to a pass.
    transmitter, receiver : array_like of str, shape (n,)
        Names of the stations.
    lander : array_like of str, shape (n,)
        Name of the lander or reflector.
    kind : array_like of str, shape (n,)
        ``"range"`` (m), ``"range_rate"`` or ``"one_way_range_rate"`` (m/s).
    epoch : Time, shape (n,)
        Time tags, UTC.
    tag : array_like of str, shape (n,)
        ``"receive"`` or ``"transmit"``: the event at the station to which the epoch belongs.
    count_time : array_like, shape (n,)
        Count time of a range rate, s; NaN for a range.
    value, sigma : array_like, shape (n,)
        Measured value and its standard deviation, m or m/s.
    frequency : array_like, shape (n,)
        Frequency of the uplink (for a laser, speed of light over wavelength), or the nominal
        one of a one-way downlink, Hz.
    pressure_hpa, temperature_k, humidity_percent : array_like, shape (n,), optional
        Weather at the receiving station, NaN where not given.
    meta : dict, optional
        What the measurements came from.

    Raises
    ------
    InputError
        If columns differ in length, an epoch is not UTC, a value or frequency is not finite
        or a sigma not positive, a kind or tag is unknown, or a count time is missing; the
        message names the column and the first row (from 0) that is wrong.
    """

    pass_id: Names
    transmitter: Names
    receiver: Names
    lander: Names
    kind: Names
    epoch: Time
    tag: Names
    count_time: Array
    value: Array
    sigma: Array
    frequency: Array
    pressure_hpa: Array = None  # type: ignore[assignment]  # filled below
    temperature_k: Array = None  # type: ignore[assignment]
    humidity_percent: Array = None  # type: ignore[assignment]
    meta: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._set("epoch", _checked_epoch(self.epoch))
        n = len(self.epoch)
        for name in COLUMNS:
            column = getattr(self, name)
            if name in WEATHER_LIMITS and column is None:
                column = np.full(n, np.nan)
            self._set(name, _checked_column(name, column, n))
        self._check_rows()

    def _set(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _check_rows(self) -> None:
        counted = self.counted
        positive = "a positive finite number"
        for name in ("pass_id", "transmitter", "receiver", "lander"):
            self._demand(name, getattr(self, name) != "", "a name")
        self._demand("kind", np.isin(self.kind, list(KINDS)), " or ".join(KINDS))
        self._demand("tag", np.isin(self.tag, TAGS), " or ".join(TAGS))
        alone = self._of_kind(lambda kind: kind.ways == 1)
        same = ~alone | (self.transmitter == self.receiver)
        self._demand("transmitter", same, "the receiver, for a one-way range rate")
        self._demand("tag", ~counted | (self.tag == "receive"), "receive, for a range rate")
        self._demand("value", np.isfinite(self.value), "a finite number")
        causal = "0 or more, for a range: no signal is received before it is sent"
        self._demand("value", counted | (self.value >= 0.0), causal)
        slower = np.abs(self.value) < SPEED_OF_LIGHT
        self._demand("value", ~counted | slower, "less than the speed of light, for a range rate")
        self._demand("sigma", np.isfinite(self.sigma) & (self.sigma > 0), positive)
        self._demand("frequency", np.isfinite(self.frequency) & (self.frequency > 0), positive)
        counts = np.isfinite(self.count_time) & (self.count_time > 0)
        self._demand("count_time", ~counted | counts, positive + ", for a range rate")
        self._demand("count_time", counted | np.isnan(self.count_time), "NaN, for a range")
        for name, (low, high) in WEATHER_LIMITS.items():
            values = getattr(self, name)
            given = ~np.isnan(values)
            self._demand(name, ~given | ((low <= values) & (values <= high)), f"{low} to {high}")

    def _of_kind(self, asked: Callable[[Kind], bool]) -> NDArray[np.bool_]:
        """Which rows are of a kind of which something is true, shape (n,)."""
        return np.isin(self.kind, [name for name, kind in KINDS.items() if asked(kind)])

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Which rows are averages over a count time, shape (n,)."""
        return self._of_kind(lambda kind: kind.counted)

    def _demand(self, name: str, good: NDArray[np.bool_], expected: str) -> None:
        if not good.all():
            row = int(np.argmin(good))
            error = RowError(
                f"row {row} cannot be used ({int((~good).sum())} such)",
                field=name,
                found=getattr(self, name)[row].item(),
                expected=expected,
            )
            error.row = row
            raise error

    def __len__(self) -> int:
        return len(self.epoch)

    def __getitem__(self, index: Any) -> Tracking:
        """Rows by a boolean mask, an index array, a slice or one number."""
        rows = np.atleast_1d(np.arange(len(self))[index])
        columns = {name: _frozen(getattr(self, name)[rows]) for name in COLUMNS}
        return Tracking(epoch=self.epoch[rows], meta=self.meta, **columns)

    @classmethod
    def concatenate(cls, parts: Iterable[Tracking]) -> Self:
        """One table of several, in their order.

        The metadata is that in which the parts agree; if that is not all, theirs are
        listed under ``"parts"``.

        Raises
        ------
        InputError
            If there is no part.
        """
        tables = list(parts)
        if not tables:
            raise InputError("no tracking data to put together")
        if len(tables) == 1 and isinstance(tables[0], cls):
            return tables[0]
        metas = [table.meta for table in tables]
        absent = object()
        common = {
            key: value
            for key, value in metas[0].items()
            if all(meta.get(key, absent) == value for meta in metas)
        }
        same = all(meta == metas[0] for meta in metas)
        columns = {
            name: _frozen(np.concatenate([getattr(t, name) for t in tables])) for name in COLUMNS
        }
        epoch = Time(
            np.concatenate([table.epoch.jd1 for table in tables]),
            np.concatenate([table.epoch.jd2 for table in tables]),
            format="jd",
            scale="utc",
        )
        return cls(epoch=epoch, meta=common if same else {**common, "parts": metas}, **columns)

    @classmethod
    def from_table(
        cls, table: Any, columns: Mapping[str, str | Sequence[str]], **description: Any
    ) -> Tracking:
        """Measurements from a pandas DataFrame, an astropy table or a dictionary of columns.

        Parameters
        ----------
        table
            Gives a column by its name.
        columns : mapping of str to str
            The columns by the parts that they play (`wobble.measurements.columns.ROLES`);
            several are joined by blanks.
        **description
            What they mean: the parameters of `wobble.measurements.columns.TableDescription`;
            stations and landers may be mappings of names to names.

        Raises
        ------
        InputError
            Naming row and column.

        Examples
        --------
        >>> Tracking.from_table(  # doctest: +SKIP
        ...     frame,
        ...     {"station": "site", "lander": "to", "time": "utc", "value": "rtlt", "sigma": "s"},
        ...     kind="range",
        ...     unit="us",
        ...     constants={"frequency": 7.2e9},
        ... )
        """
        from wobble.measurements.columns import tracking_from_table

        return tracking_from_table(table, columns, **description)

    def passes(self) -> Iterator[tuple[str, NDArray[np.intp]]]:
        """The passes in the order of their first row: name, and indices of its rows."""
        _, first, inverse = np.unique(self.pass_id, return_index=True, return_inverse=True)
        rows = np.argsort(inverse, kind="stable")
        groups = np.split(rows, np.cumsum(np.bincount(inverse, minlength=first.size))[:-1])
        for k in np.argsort(first):
            yield str(self.pass_id[first[k]]), groups[k]

    def sorted(self) -> Tracking:
        """The same rows in the order of their epochs; rows of one epoch keep their order."""
        return self[np.lexsort((self.epoch.jd2, self.epoch.jd1))]

    def to_pandas(self) -> pandas.DataFrame:
        """A data frame, see `wobble.files.frames.to_pandas`; pandas must be installed."""
        from wobble.files.frames import to_pandas

        return to_pandas(self)

    def to_xarray(self) -> xarray.Dataset:
        """A data set, see `wobble.files.frames.to_xarray`; xarray must be installed."""
        from wobble.files.frames import to_xarray

        return to_xarray(self)

    def summary(self) -> list[tuple[str, str]]:
        """What is in the table, as pairs of heading and text."""
        if not len(self):
            return [("measurements", "none")]
        ordered = self.epoch[np.lexsort((self.epoch.jd2, self.epoch.jd1))]
        first, last = (Time(t, precision=0).isot for t in (ordered[0], ordered[-1]))
        kinds = [f"{np.count_nonzero(self.kind == kind)} {kind}" for kind in KINDS]
        stations = sorted({*self.transmitter.tolist(), *self.receiver.tolist()})
        return [
            ("measurements", ", ".join(text for text in kinds if not text.startswith("0 "))),
            ("span", f"{first} to {last} UTC"),
            ("stations", ", ".join(stations)),
            ("landers", ", ".join(sorted(set(self.lander.tolist())))),
            ("passes", str(len(set(self.pass_id.tolist())))),
        ]

    def __repr__(self) -> str:
        lines = [f"  {heading + ':':<14}{text}" for heading, text in self.summary()]
        return "\n".join([f"<Tracking: {len(self)} measurements", *lines]) + ">"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th>{heading}</th><td>{html.escape(text)}</td></tr>"
            for heading, text in self.summary()
        )
        return f"<table><caption>Tracking: {len(self)} measurements</caption>{rows}</table>"


COLUMNS = tuple(f.name for f in fields(Tracking) if f.name not in ("epoch", "meta"))


def _checked_epoch(epoch: Time) -> Time:
    if not isinstance(epoch, Time) or epoch.scale != "utc":
        raise InputError(
            "not an array of UTC times",
            field="epoch",
            found=getattr(epoch, "scale", type(epoch).__name__),
            expected="astropy.time.Time, scale utc",
        )
    epoch = epoch.reshape((1,)) if epoch.isscalar else epoch
    if epoch.ndim != 1 or np.any(epoch.mask) or not np.isfinite(epoch.jd1 + epoch.jd2).all():
        raise InputError("an epoch is missing or the array is not flat", field="epoch")
    return epoch


def _frozen(array: NDArray[Any]) -> NDArray[Any]:
    """An array of one's own that nobody can change any more, so that it need not be copied."""
    array.flags.writeable = False
    return array


def _checked_column(name: str, column: ArrayLike, n: int) -> NDArray[Any]:
    kind = str if name in NAME_COLUMNS else float
    frozen = isinstance(column, np.ndarray) and not column.flags.writeable and column.base is None
    try:
        array = np.array(column, dtype=kind, copy=None if frozen else True)
    except (TypeError, ValueError) as error:
        raise InputError(f"cannot be used as a column ({error})", field=name) from error
    if array.shape != (n,):
        raise InputError(
            "the column has another length than the epochs",
            field=name,
            found=array.shape,
            expected=f"({n},)",
        )
    return _frozen(array)
