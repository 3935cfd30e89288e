"""Tracking data from files, by their extension.

In: paths. Out: one `Tracking` and warnings of the readers.

Which reader takes a file is decided by its name, never guessed from its content:

=======================  =======================================================
``.ecsv``                the package's own table of measurements
``.npt``, ``.crd``       ILRS Consolidated Laser Ranging Data, normal points
``.csv``                 table of laser ranging normal points
=======================  =======================================================

Each may be compressed with gzip (``.gz``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from wobble.errors import InputError
from wobble.formats.crd import read_crd
from wobble.formats.normal_points import calibration_warnings, tracking
from wobble.formats.passes import read_normal_point_table, read_passes
from wobble.tracking import Tracking

__all__ = ["read_tracking"]


def _read_crd(path: Path) -> tuple[Tracking, list[str]]:
    sessions = read_crd(path)
    return tracking(sessions), calibration_warnings(sessions)


READERS: dict[str, Callable[[Path], tuple[Tracking, list[str]]]] = {
    ".ecsv": lambda path: (read_passes(path), []),
    ".csv": lambda path: (read_normal_point_table(path), []),
    ".npt": _read_crd,
    ".crd": _read_crd,
}


def read_tracking(paths: Iterable[Path]) -> tuple[Tracking, list[str]]:
    """Read files of tracking data and join them.

    Measurements that stand in several files are used once.

    Returns
    -------
    tracking : Tracking
    warnings : list of str
        What a reader or the joining found suspicious.

    Raises
    ------
    InputError
        If a file cannot be read, or its extension is unknown.
    """
    parts: list[Tracking] = []
    warnings: list[str] = []
    for path in map(Path, paths):
        suffix = (path.with_suffix("") if path.suffix == ".gz" else path).suffix.lower()
        if suffix not in READERS:
            raise InputError(
                "no reader for such a file",
                source=path,
                found=suffix or "no extension",
                expected=", ".join(READERS),
            )
        part, found = READERS[suffix](path)
        parts.append(part)
        warnings += found
    joined = Tracking.concatenate(parts)
    doubles = joined.duplicates()
    if doubles:
        again = sorted({later for _, later in doubles})
        warnings.append(f"{len(again)} measurements stand twice in the data and are used once")
        keep = [i for i in range(len(joined)) if i not in set(again)]
        joined = joined[keep]
    return joined, warnings
