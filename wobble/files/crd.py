"""ILRS Consolidated Laser Ranging Data: normal points, versions 1 and 2 of the open format.

In: a file of one or several sessions. Out: `Session` objects with header, system
configuration, calibrations, weather and normal points, each with the line it stands in.
`wobble.files.normal_points` makes measurements of them.

Source: ILRS, Consolidated Laser Ranging Data Format, versions 1.01 (2009) and 2.01 (2019).

The format gives seconds of day only. A normal point belongs to the day of the one before it
(the first: to the day on which the session starts), or to the next day where the seconds fall
by more than half a day. A reading of the weather belongs to the day that puts it nearest to
the normal points of its session.
"""

from __future__ import annotations

import math
import os
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from wobble.constants import DAY
from wobble.errors import InputError
from wobble.measurements.tracking import WEATHER_LIMITS
from wobble.text.lines import Line, read_lines
from wobble.text.time_tags import calendar_text, day_and_seconds, day_number, utc_time

__all__ = [
    "Calibration",
    "NormalPoint",
    "Session",
    "Weather",
    "read_crd",
]

REPEATED_SHARE = 0.5 * DAY
IGNORED = ("10", "12", "21", "30", "31", "41", "42", "50", "60")


@dataclass(frozen=True)
class NormalPoint:
    """Record 11: one normal point.

    Parameters
    ----------
    line : Line
        Where it stands.
    seconds_of_day : str
        Epoch within its UTC day with the digits of the file.
    time_of_flight : float
        Two-way time of flight, s.
    configuration : str
        Identifier of the system configuration (record C0).
    epoch_event : int
        Event to which the epoch belongs: 0 reception, 2 transmission at the ground.
    window : float
        Length of the bin, s.
    returns : int
        Number of returns in the bin.
    bin_rms : float
        Root mean square of the returns about the normal point, s (two-way).
    mjd : int
        Day of the epoch.
    """

    line: Line
    seconds_of_day: str
    time_of_flight: float
    configuration: str
    epoch_event: int
    window: float
    returns: int
    bin_rms: float
    mjd: int

    @property
    def sigma(self) -> float:
        """Standard deviation of the two-way time of flight, s."""
        if self.returns < 1 or self.bin_rms <= 0.0:
            raise self.line.error(
                "the normal point has no usable scatter",
                "bin rms, number of returns",
                found=(self.bin_rms, self.returns),
                expected="both positive",
            )
        return self.bin_rms / math.sqrt(self.returns)


@dataclass(frozen=True)
class Weather:
    """Record 20: pressure (hPa), temperature (K), relative humidity (percent)."""

    line: Line
    seconds_of_day: float
    pressure_hpa: float
    temperature_k: float
    humidity_percent: float


@dataclass(frozen=True)
class Calibration:
    """Record 40: system delay (two-way, s), its rms (s) and the number of shots that made it."""

    line: Line
    seconds_of_day: float
    configuration: str
    used: int | None
    system_delay: float
    rms: float


@dataclass
class Session:
    """What one session, from record H1 to H8, says.

    Parameters
    ----------
    line : Line
        Where it begins.
    version : int
        Version of the format.
    station, target : str
        Names from records H2 and H3.
    station_id : int
        Number of the station's pad (record H2).
    time_scale : int
        Number of the time scale of the epochs (record H2).
    start_mjd : int
        Day on which the session starts (record H4).
    data_type, troposphere_corrected, centre_of_mass_corrected, system_delay_applied, range_type
        Numbers of record H4 that say what the times of flight are.
    wavelengths : dict of str to float
        Wavelength, m, of each system configuration (record C0).
    points, weather, calibrations : list
        Records 11, 20 and 40.
    carried : Counter
        How many records of each other kind stood in the session and were not used.
    """

    line: Line
    version: int = 0
    station: str = ""
    station_id: int = 0
    time_scale: int = 0
    target: str = ""
    start_mjd: int = 0
    data_type: int = 0
    troposphere_corrected: int = 0
    centre_of_mass_corrected: int = 0
    system_delay_applied: int = 0
    range_type: int = 0
    wavelengths: dict[str, float] = field(default_factory=dict)
    points: list[NormalPoint] = field(default_factory=list)
    weather: list[Weather] = field(default_factory=list)
    calibrations: list[Calibration] = field(default_factory=list)
    carried: Counter[str] = field(default_factory=Counter)

    @property
    def name(self) -> str:
        """Station, target and date of the start, which also name the pass."""
        date = calendar_text(utc_time([day_and_seconds(self.start_mjd, "0")]))[0][:10]
        return f"{self.station}-{self.target}-{date}"

    def wavelength(self, point: NormalPoint) -> float:
        """Wavelength of a normal point, m."""
        if point.configuration not in self.wavelengths:
            raise point.line.error(
                "no record C0 describes the system configuration",
                "system configuration",
                found=point.configuration,
                expected=f"one of {', '.join(self.wavelengths) or 'none in this session'}",
            )
        return self.wavelengths[point.configuration]

    def nearest_weather(self, point: NormalPoint) -> Weather | None:
        """The reading nearest in time to a normal point, if there is any."""
        at = self._since_start(point)
        times = [self._nearest_day(reading.seconds_of_day) for reading in self.weather]
        if not times:
            return None
        return self.weather[int(np.argmin(np.abs(np.array(times) - at)))]

    def _since_start(self, point: NormalPoint) -> float:
        return (point.mjd - self.start_mjd) * DAY + float(point.seconds_of_day)

    def _nearest_day(self, seconds_of_day: float) -> float:
        """Seconds since the day of the start, on the day that is nearest to the points."""
        times = [self._since_start(point) for point in self.points]
        first, last = min(times), max(times)

        def distance(seconds: float) -> float:
            return max(first - seconds, seconds - last, 0.0)

        days = range(self.points[0].mjd - 1, self.points[-1].mjd + 2)
        times = [(day - self.start_mjd) * DAY + seconds_of_day for day in days]
        return min(times, key=distance)


def read_crd(path: str | os.PathLike[str]) -> list[Session]:
    """Read all sessions of a file of normal points, plain or gzip-compressed.

    Raises
    ------
    InputError
        If the file is not of this format, is broken off within a session, or a record
        cannot be understood; the message names file, line and field.
    """
    sessions: list[Session] = []
    session: Session | None = None
    ended: Line | None = None
    line = None
    for line in read_lines(path):
        fields = line.text.split()
        if not fields:
            continue
        record = fields[0].upper()
        if ended is not None:
            raise line.error("a record after the end of the file (H9)", found=record)
        if record == "H1":
            if session is not None:
                raise line.error(f"the session of line {session.line.number} has no end (H8)")
            session = Session(line)
            _header(session, line, fields)
        elif record == "H9":
            ended = line
        elif session is None:
            raise line.error("a record outside a session", found=record, expected="H1")
        elif record == "H8":
            _close(session, line)
            sessions.append(session)
            session = None
        else:
            _record(session, line, record, fields)
        if record == "H9" and session is not None:
            raise line.error(f"the session of line {session.line.number} has no end (H8)")
    if session is not None and line is not None:
        raise line.error(
            f"the file is broken off: the session of line {session.line.number} has no end (H8)"
        )
    if not sessions:
        raise InputError("there is no session in the file", source=path, expected="record H1")
    return sessions


def _header(session: Session, line: Line, fields: list[str]) -> None:
    _enough(line, fields, 3, "H1")
    if fields[1].upper() != "CRD":
        raise line.error("not of this format", "format name", found=fields[1], expected="CRD")
    session.version = line.integer(fields[2], "format version")
    if session.version not in (1, 2):
        raise line.error("unknown format version", found=session.version, expected="1 or 2")


def _record(session: Session, line: Line, record: str, fields: list[str]) -> None:
    if record in RECORDS:
        needed, read = RECORDS[record]
        _enough(line, fields, needed, record)
        read(session, line, fields)
    elif record in IGNORED or record in ("00", "H5") or record[0] in "9C":
        session.carried[record] += 1
    else:
        raise line.error("unknown record", found=record)


def _enough(line: Line, fields: list[str], needed: int, record: str) -> None:
    if len(fields) < needed:
        raise line.error(
            f"record {record} is too short", found=line.text, expected=f"{needed} fields or more"
        )


def _station(session: Session, line: Line, fields: list[str]) -> None:
    session.station = fields[1]
    session.station_id = line.integer(fields[2], "station number")
    session.time_scale = line.integer(fields[5], "epoch time scale")


def _target(session: Session, line: Line, fields: list[str]) -> None:
    session.target = fields[1]


def _session(session: Session, line: Line, fields: list[str]) -> None:
    session.data_type = line.integer(fields[1], "data type")
    date = [line.integer(fields[k], "start of the session") for k in (2, 3, 4)]
    try:
        session.start_mjd = day_number(*date)
    except InputError as error:
        raise line.error(error.problem, "start of the session", found=error.found) from error
    # After the two dates: release, troposphere, centre of mass, amplitude, system delay of the
    # station and of the spacecraft, type of range, quality.
    session.troposphere_corrected = line.integer(fields[15], "troposphere correction flag")
    session.centre_of_mass_corrected = line.integer(fields[16], "centre-of-mass flag")
    session.system_delay_applied = line.integer(fields[18], "system delay flag")
    session.range_type = line.integer(fields[20], "range type")


def _configuration(session: Session, line: Line, fields: list[str]) -> None:
    nanometres = line.real(fields[2], "wavelength")
    if not 100.0 < nanometres < 20_000.0:
        raise line.error(
            "no wavelength of a laser", "wavelength", found=fields[2], expected="100 to 20000 nm"
        )
    session.wavelengths[fields[3]] = nanometres * 1e-9


def _point(session: Session, line: Line, fields: list[str]) -> None:
    if not session.start_mjd:
        raise line.error("a normal point before the date of its session", expected="record H4")
    seconds = _seconds_of_day(line, fields[1])
    flight = line.real(fields[2], "time of flight")
    if flight <= 0.0:
        raise line.error("not a time of flight", found=fields[2], expected="positive")
    mjd = session.start_mjd
    if session.points:
        previous = session.points[-1]
        mjd = previous.mjd + (float(previous.seconds_of_day) - seconds > REPEATED_SHARE)
    try:
        day_and_seconds(mjd, fields[1])
    except InputError as error:
        raise line.error(error.problem, "seconds of day", error.found, error.expected) from error
    session.points.append(
        NormalPoint(
            line=line,
            seconds_of_day=fields[1],
            time_of_flight=flight,
            configuration=fields[3],
            epoch_event=line.integer(fields[4], "epoch event"),
            window=line.real(fields[5], "window length"),
            returns=line.integer(fields[6], "number of returns"),
            bin_rms=line.real(fields[7], "bin rms") * 1e-12,
            mjd=mjd,
        )
    )


def _weather(session: Session, line: Line, fields: list[str]) -> None:
    values = []
    for text, (name, (low, high)) in zip(fields[2:5], WEATHER_LIMITS.items(), strict=True):
        value = line.real(text, name)
        if not low <= value <= high:
            raise line.error("no weather of the Earth", name, text, f"{low} to {high}")
        values.append(value)
    session.weather.append(Weather(line, _seconds_of_day(line, fields[1]), *values))


def _calibration(session: Session, line: Line, fields: list[str]) -> None:
    session.calibrations.append(
        Calibration(
            line=line,
            seconds_of_day=_seconds_of_day(line, fields[1]),
            configuration=fields[3],
            used=None if fields[5] in MISSING else line.integer(fields[5], "shots used"),
            system_delay=line.real(fields[7], "system delay") * 1e-12,
            rms=math.nan if fields[9] in MISSING else line.real(fields[9], "rms") * 1e-12,
        )
    )


def _seconds_of_day(line: Line, text: str) -> float:
    seconds = line.real(text, "seconds of day")
    if not 0.0 <= seconds < DAY + 1.0:
        raise line.error("not within a day", "seconds of day", found=text)
    return seconds


MISSING = ("na", "NA", "-1")
# For each record that is understood: how many fields it must have, and what reads it.
RECORDS = {
    "H2": (6, _station),
    "H3": (3, _target),
    "H4": (22, _session),
    "C0": (4, _configuration),
    "11": (8, _point),
    "20": (5, _weather),
    "40": (10, _calibration),
}


def _close(session: Session, line: Line) -> None:
    for name, record in (("station", "H2"), ("target", "H3"), ("start_mjd", "H4")):
        if not getattr(session, name):
            raise line.error(f"the session of line {session.line.number} has no record {record}")
