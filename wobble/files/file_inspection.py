"""A file of tracking data, inspected by the format that its name says.

In: a path, and the agreement as far as there is one. Out: `Inspection`.

A Tracking Data Message is inspected as it stands, without an agreement; tables and normal points
through the measurements that their readers make of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
from astropy.time import Time

from wobble.errors import InputError
from wobble.files import normal_points
from wobble.files.crd import Session, read_crd
from wobble.files.data_files import TDM, extension
from wobble.files.inspection import Inspection, Series, bands, series_of_tracking
from wobble.files.measurement_table import read_normal_point_table, read_passes
from wobble.measurements.kinds import KINDS
from wobble.measurements.tracking import WEATHER_LIMITS, Tracking
from wobble.tdm.agreement import Agreement
from wobble.tdm.keywords import METADATA_USES, USES
from wobble.tdm.kvn import read_tdm
from wobble.tdm.message import TrackingDataMessage
from wobble.tdm.needs import needs
from wobble.tdm.notes import notes
from wobble.tdm.signal_path import EXACT_SCALES

__all__ = ["inspect_file"]

CARRIED = "carried"
MEASURED = (*KINDS, "RANGE", "DOPPLER", "RECEIVE_FREQ")
CRD_USES = {
    "H2": "station and clock",
    "H3": "target",
    "H4": "date, and what has been applied",
    "C0": "wavelength",
    "11": "measurement: range",
    "20": "weather",
    "40": "calibration, checked against the others",
}


def inspect_file(path: Path | str, agreement: Agreement | None = None) -> Inspection:
    """Say what is in a file of tracking data.

    Parameters
    ----------
    path : path
    agreement : Agreement, optional
        What is known already of what a Tracking Data Message leaves open.

    Raises
    ------
    InputError
        If the file cannot be read, or its extension is unknown.
    """
    path = Path(path)
    suffix = extension(path)
    if suffix in TDM:
        return _message(path, read_tdm(path), agreement)
    if suffix in (".npt", ".crd"):
        return _normal_points(path, read_crd(path))
    if suffix == ".csv":
        return _table(path, read_normal_point_table(path), "table of normal points (CSV)")
    return _table(path, read_passes(path), "table of measurements (ECSV)")


def _message(path: Path, message: TrackingDataMessage, agreement: Agreement | None) -> Inspection:
    count = message.count()
    metadata = Counter(key for segment in message.segments for key in segment.metadata)
    fates = {key: (n, METADATA_USES.get(key, CARRIED)) for key, n in metadata.items()}
    fates |= {key: (n, USES.get(key, CARRIED)) for key, n in sorted(count.items())}
    series = _message_series(message)
    return Inspection(
        source=path,
        format=f"CCSDS Tracking Data Message {message.version}",
        participants=tuple(
            dict.fromkeys(
                segment.metadata[key]
                for segment in message.segments
                for key in sorted(segment.metadata)
                if key.startswith("PARTICIPANT_")
            )
        ),
        series=series,
        fates=fates,
        quality=dict(
            Counter(s.metadata.get("DATA_QUALITY", "not stated").upper() for s in message.segments)
        ),
        ramps=_frequencies(message),
        warnings=(*_suspicious(path, series), *notes(message, agreement or Agreement({}, {}))),
        missing=tuple(needs(message, agreement)),
    )


def _message_series(message: TrackingDataMessage) -> tuple[Series, ...]:
    groups: dict[tuple[str, str, tuple[str, ...]], tuple[list[Time], list[float], set[str]]] = {}
    for segment in message.segments:
        given = segment.metadata
        path = tuple(given[f"PARTICIPANT_{number}"] for number in segment.path() or [1])
        for keyword in dict.fromkeys(segment.keywords):
            times, values = segment.series(keyword)
            key = (keyword, segment.time_system, path)
            known = groups.setdefault(key, ([], [], set()))
            known[0].append(times.utc if segment.time_system in EXACT_SCALES else times)
            known[1].extend(values.tolist())
            known[2].update({given.get("TRANSMIT_BAND", "")} - {""})
            if keyword.startswith("TRANSMIT_FREQ_") and "RATE" not in keyword:
                known[2].add(bands(values.tolist()))
    return tuple(
        Series(keyword, path, _joined(times), np.array(values), ", ".join(sorted(names)))
        for (keyword, _, path), (times, values, names) in groups.items()
    )


def _joined(times: list[Time]) -> Time:
    return Time(
        np.concatenate([t.jd1 for t in times]),
        np.concatenate([t.jd2 for t in times]),
        format="jd",
        scale=times[0].scale,
    )


def _frequencies(message: TrackingDataMessage) -> dict[str, int]:
    found: Counter[str] = Counter()
    for segment in message.segments:
        for number in range(1, 6):
            n = len(segment.rows(f"TRANSMIT_FREQ_{number}"))
            if n:
                found[segment.metadata.get(f"PARTICIPANT_{number}", "nobody")] += n
    return dict(found)


def _normal_points(path: Path, sessions: list[Session]) -> Inspection:
    warnings, missing = normal_points.calibration_warnings(sessions), []
    series: tuple[Series, ...] = ()
    try:
        series = series_of_tracking(normal_points.tracking(sessions))
    except InputError as error:
        missing.append(str(error))
    count: Counter[str] = Counter({"H2": len(sessions), "H3": len(sessions), "H4": len(sessions)})
    for session in sessions:
        count.update(
            {
                "C0": len(session.wavelengths),
                "11": len(session.points),
                "20": len(session.weather),
                "40": len(session.calibrations),
            }
        )
        count.update(session.carried)
    return Inspection(
        source=path,
        format=f"ILRS Consolidated Laser Ranging Data {sessions[0].version}, normal points",
        participants=tuple(dict.fromkeys(name for s in sessions for name in (s.station, s.target))),
        series=series,
        fates={
            record: (n, CRD_USES.get(record, CARRIED)) for record, n in sorted(count.items()) if n
        },
        warnings=(*warnings, *_suspicious(path, series)),
        missing=tuple(missing),
    )


def _table(path: Path, tracking: Tracking, name: str) -> Inspection:
    series = series_of_tracking(tracking)
    ends = np.concatenate([tracking.transmitter, tracking.receiver, tracking.lander])
    fates = {kind: (int((tracking.kind == kind).sum()), "measurement") for kind in KINDS}
    fates |= {
        column: (int(np.isfinite(getattr(tracking, column)).sum()), "weather at the receiver")
        for column in WEATHER_LIMITS
    }
    return Inspection(
        source=path,
        format=name,
        participants=tuple(dict.fromkeys(ends.tolist())),
        series=series,
        fates={key: fate for key, fate in fates.items() if fate[0]},
        warnings=_suspicious(path, series),
    )


def _suspicious(path: Path, series: tuple[Series, ...]) -> tuple[str, ...]:
    """Order and repetitions of measurements, in words."""
    found = []
    for one in series:
        if not one.kind.startswith(MEASURED):
            continue
        name = f"{path}: {one.kind} of {' > '.join(one.path)}"
        same, other = one.repeated
        if not one.in_order:
            found.append(f"{name}: the time tags are not in order")
        if same:
            found.append(f"{name}: {same} stand twice and are used once")
        if other:
            found.append(f"{name}: {other} contradict another value of the same time tag")
    return tuple(found)
