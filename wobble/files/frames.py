"""Measurements for pandas and xarray, where those are installed.

In: the table of measurements. Out: a `pandas.DataFrame` or an `xarray.Dataset`, with the units in
their attributes.

Their times have whole nanoseconds and know no leap second: ``epoch`` is UTC rounded to 1 ns,
where 23:59:60 coincides with the second after it. The columns ``jd1`` and ``jd2``, the two-part
Julian date (UTC) of `astropy.time.Time`, are exact.
"""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.errors import InputError

if TYPE_CHECKING:
    import pandas
    import xarray

    from wobble.measurements.tracking import Tracking

__all__ = ["UNITS", "to_pandas", "to_xarray"]

UNITS = {
    "count_time": "s",
    "value": "m for range, m/s for range_rate",
    "sigma": "m for range, m/s for range_rate",
    "frequency": "Hz",
    "pressure_hpa": "hPa",
    "temperature_k": "K",
    "humidity_percent": "percent",
    "jd1": "d",
    "jd2": "d",
}
NAMES = ("pass_id", "kind", "transmitter", "receiver", "lander", "tag")
NUMBERS = tuple(name for name in UNITS if not name.startswith("jd"))


def to_pandas(tracking: Tracking) -> pandas.DataFrame:
    """A data frame with one row a measurement; units and metadata in its ``attrs``.

    Raises
    ------
    InputError
        If pandas is not installed.
    """
    frame = _installed("pandas").DataFrame(_columns(tracking))
    frame.attrs = {"units": dict(UNITS), "time_scale": "UTC", "meta": dict(tracking.meta)}
    return frame


def to_xarray(tracking: Tracking) -> xarray.Dataset:
    """A data set along the dimension ``measurement``, with ``epoch`` as its coordinate.

    Each variable has its ``units``; the metadata stand in the ``attrs`` of the set.

    Raises
    ------
    InputError
        If xarray is not installed.
    """
    columns = _columns(tracking)
    epoch = columns.pop("epoch")
    variables = {
        name: ("measurement", column, {"units": UNITS[name]} if name in UNITS else {})
        for name, column in columns.items()
    }
    coordinates = {"epoch": ("measurement", epoch, {"time_scale": "UTC"})}
    return _installed("xarray").Dataset(variables, coordinates, attrs=dict(tracking.meta))


def _columns(tracking: Tracking) -> dict[str, NDArray[Any]]:
    columns: dict[str, NDArray[Any]] = {"epoch": _nanoseconds(tracking.epoch)}
    columns |= {name: getattr(tracking, name) for name in (*NAMES, *NUMBERS)}
    return columns | {"jd1": tracking.epoch.jd1, "jd2": tracking.epoch.jd2}


def _nanoseconds(time: Time) -> NDArray[np.datetime64]:
    """UTC as numpy has it, rounded to 1 ns."""
    parts = time.ymdhms
    months = (parts["year"] - 1970) * 12 + parts["month"] - 1
    days = months.astype("datetime64[M]").astype("datetime64[D]").astype(int) + parts["day"] - 1
    minutes = (days * 24 + parts["hour"]) * 60 + parts["minute"]
    seconds = np.rint(parts["second"] * 1e9).astype(np.int64)
    return (minutes.astype(np.int64) * 60_000_000_000 + seconds).astype("datetime64[ns]")


def _installed(name: str) -> ModuleType:
    try:
        return __import__(name)
    except ImportError as error:
        raise InputError(
            f"{name} is not installed", expected='pip install "wobble[tables]"'
        ) from error
