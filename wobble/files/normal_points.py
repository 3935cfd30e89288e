"""Laser ranging normal points as measurements, and a check of their calibrations.

In: `Session` objects of `wobble.files.crd`. Out: the table of measurements, and warnings
about sessions whose calibration stands out.

A two-way time of flight t becomes the range c t / 2; its standard deviation is the rms of
the bin over the square root of the number of returns in it. The weather of a point is that
of the session's reading nearest in time, the earlier one of two that are equally near.
Only what needs no further correction by the reader is converted: two-way normal points on a
UTC clock, station delay removed, troposphere still in. Source: ILRS, Consolidated Laser
Ranging Data Format, versions 1.01 (2009) and 2.01 (2019).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.files.crd import Calibration, NormalPoint, Session
from wobble.measurements.tracking import Tracking
from wobble.text.lines import rows_at
from wobble.text.time_tags import day_and_seconds, utc_time

__all__ = ["calibration_warnings", "tracking"]

NORMAL_POINTS = 1
TWO_WAY = 2
UTC_SCALES = (3, 4, 7)  # UTC of three laboratories; a station's own UTC has 10 or more
TAG_OF_EVENT = {0: "receive", 2: "transmit"}


def tracking(sessions: Sequence[Session]) -> Tracking:
    """Normal points of sessions as a table of ranges, in their order.

    The name of a pass is that of station, target and date of the session's start. Warnings of
    `calibration_warnings` are kept in ``meta["warnings"]``.

    Raises
    ------
    InputError
        If a session is not of two-way normal points on a UTC clock with the station's system
        delay applied and no correction for the troposphere or the target, the event of an
        epoch is not transmission or reception at the ground, or a point lacks scatter or
        wavelength.
    """
    rows = [(session, point) for session in sessions for point in session.points]
    if not rows:
        raise InputError("there is no normal point in the sessions")
    for session in sessions:
        _check_usable(session)
    weather = [session.nearest_weather(point) for session, point in rows]
    stations = np.array([session.station for session, _ in rows])
    flight = np.array([point.time_of_flight for _, point in rows])
    with rows_at(lambda k: rows[k][1].line):
        return Tracking(
            pass_id=np.array([session.name for session, _ in rows]),
            transmitter=stations,
            receiver=stations,
            lander=np.array([session.target for session, _ in rows]),
            kind=np.full(len(rows), "range"),
            epoch=utc_time(day_and_seconds(p.mjd, p.seconds_of_day) for _, p in rows),
            tag=np.array([_tag(point) for _, point in rows]),
            count_time=np.full(len(rows), np.nan),
            value=0.5 * SPEED_OF_LIGHT * flight,
            sigma=0.5 * SPEED_OF_LIGHT * np.array([point.sigma for _, point in rows]),
            frequency=SPEED_OF_LIGHT / np.array([s.wavelength(point) for s, point in rows]),
            pressure_hpa=np.array([w.pressure_hpa if w else np.nan for w in weather]),
            temperature_k=np.array([w.temperature_k if w else np.nan for w in weather]),
            humidity_percent=np.array([w.humidity_percent if w else np.nan for w in weather]),
            meta={"source": sessions[0].line.source, "warnings": calibration_warnings(sessions)},
        )


def calibration_warnings(sessions: Iterable[Session], threshold: float = 1e-10) -> list[str]:
    """Say which sessions have a system delay that stands out, or no calibration behind it.

    The delays of one station and system configuration are compared with their median. One
    stands out if it is further off than ``threshold`` (s, two-way) and than ten times the
    scaled median absolute deviation. Nothing is removed: a warning is a reason to look.

    Parameters
    ----------
    sessions : iterable of Session
        Sessions to compare; at least three delays are needed to tell which one is wrong.
    threshold : float
        Smallest difference that matters, s; 1e-10 s is 15 mm of one-way range.
    """
    groups: dict[tuple[str, str], list[tuple[Session, Calibration]]] = {}
    warnings = []
    for session in sessions:
        for calibration in session.calibrations:
            key = (session.station, calibration.configuration)
            groups.setdefault(key, []).append((session, calibration))
            if calibration.used == 0:
                warnings.append(
                    f"{_where(session, calibration)}: the system delay of "
                    f"{calibration.system_delay * 1e12:.1f} ps rests on no calibration shots"
                )
    for members in groups.values():
        delays = np.array([calibration.system_delay for _, calibration in members])
        median = float(np.median(delays))
        # 1.4826 makes the median absolute deviation of normal noise its standard deviation.
        spread = 1.4826 * float(np.median(np.abs(delays - median)))
        for session, calibration in members if len(members) >= 3 else ():
            if abs(calibration.system_delay - median) > max(threshold, 10.0 * spread):
                warnings.append(
                    f"{_where(session, calibration)}: the system delay of "
                    f"{calibration.system_delay * 1e12:.1f} ps stands out from the median "
                    f"{median * 1e12:.1f} ps of {len(members)} calibrations"
                )
    return warnings


def _where(session: Session, calibration: Calibration) -> str:
    line = calibration.line
    return f"{line.source}, line {line.number}: pass {session.name}"


def _tag(point: NormalPoint) -> str:
    if point.epoch_event not in TAG_OF_EVENT:
        raise point.line.error(
            "the epoch belongs to an event that is not understood",
            "epoch event",
            found=point.epoch_event,
            expected="0 (reception at the ground) or 2 (transmission from the ground)",
        )
    return TAG_OF_EVENT[point.epoch_event]


def _check_usable(session: Session) -> None:
    demands = (
        ("data type", session.data_type == NORMAL_POINTS, session.data_type, "1 (normal points)"),
        ("range type", session.range_type == TWO_WAY, session.range_type, "2 (two-way)"),
        (
            "epoch time scale",
            session.time_scale in UTC_SCALES or session.time_scale >= 10,
            session.time_scale,
            "3, 4, 7 or from 10 on (UTC)",
        ),
        (
            "troposphere correction flag",
            session.troposphere_corrected == 0,
            session.troposphere_corrected,
            "0 (not applied)",
        ),
        (
            "centre-of-mass flag",
            session.centre_of_mass_corrected == 0,
            session.centre_of_mass_corrected,
            "0 (not applied)",
        ),
        (
            "system delay flag",
            session.system_delay_applied == 1,
            session.system_delay_applied,
            "1 (applied)",
        ),
    )
    for name, good, found, expected in demands:
        if not good:
            raise session.line.error("the session cannot be used", name, found, expected)
