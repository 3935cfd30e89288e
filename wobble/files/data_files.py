"""Tracking data from files, by their extension.

In: paths, and the campaign whose data they are. Out: one `Tracking` and warnings of the readers.

Which reader takes a file is decided by its name, never guessed from its content:

============================  =======================================================
``.ecsv``                     the package's own table of measurements
``.tdm``, ``.kvn``, ``.xml``  CCSDS Tracking Data Message, in either notation
``.npt``, ``.crd``            ILRS Consolidated Laser Ranging Data, normal points
``.csv``                      table of laser ranging normal points
any other                     table that the scenario describes, in ``[[data.table]]``
============================  =======================================================

Each may be compressed with gzip (``.gz``). A Tracking Data Message leaves much to the parties:
that stands in the scenario's table ``data.agreement`` (`wobble.scenario.agreement_section`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from wobble.campaign.campaign import Campaign
from wobble.campaign.prediction import round_trip_prediction
from wobble.earth.series import LONGEST_GAP
from wobble.errors import InputError
from wobble.files.crd import read_crd
from wobble.files.described_table import read_text_table
from wobble.files.measurement_table import read_normal_point_table, read_passes
from wobble.files.normal_points import calibration_warnings, tracking
from wobble.measurements.bookkeeping import passes_told_apart, repetitions
from wobble.measurements.tracking import Tracking
from wobble.scenario.agreement_section import EXAMPLE
from wobble.tdm.conversion import tracking as tracking_of_message
from wobble.tdm.kvn import read_tdm
from wobble.text.time_tags import calendar_text
from wobble.text.toml_section import read_toml

__all__ = ["TDM", "extension", "read_tracking"]

TDM = (".tdm", ".kvn", ".xml")
Reader = Callable[[Path, Campaign | None], tuple[Tracking, list[str]]]

# Two readings of one measurement may differ by the rounding of a file's last digit.
SAME_SHARE_OF_SIGMA = 1e-3
# Signs of a time tag in a message: no more than people read.
MILLISECONDS = len("2031-05-01T00:00:00.000")


def _read_crd(path: Path, campaign: Campaign | None) -> tuple[Tracking, list[str]]:
    sessions = read_crd(path)
    return tracking(sessions), calibration_warnings(sessions)


def _read_message(path: Path, campaign: Campaign | None) -> tuple[Tracking, list[str]]:
    agreement = campaign.agreement if campaign is not None else None
    if campaign is None or agreement is None:
        raise InputError(
            "a tracking data message leaves to the parties what its numbers mean, and the "
            "scenario does not say it",
            source=path,
            expected=EXAMPLE,
        )
    predict = round_trip_prediction(campaign, simulated=agreement.simulated)
    weather = campaign.media.weather
    longest_gap = weather.longest_gap if weather is not None else LONGEST_GAP
    found = tracking_of_message(read_tdm(path), agreement, predict, longest_gap)
    return found, list(found.meta["warnings"])


READERS: dict[str, Reader] = {
    ".ecsv": lambda path, _: (read_passes(path), []),
    **dict.fromkeys(TDM, _read_message),
    ".npt": _read_crd,
    ".crd": _read_crd,
    ".csv": lambda path, _: (read_normal_point_table(path), []),
}


def read_tracking(
    paths: Iterable[Path | str], campaign: Campaign | None = None
) -> tuple[Tracking, list[str]]:
    """Read files of tracking data and join them.

    Measurements that stand in several files, or twice in one, are used once and named. Passes that
    share a name over stations, landers or days get one of their own, and a word is said of it.

    Parameters
    ----------
    paths : iterable of path
    campaign : Campaign, optional
        Whose data they are. Tracking data messages need its agreement.

    Returns
    -------
    tracking : Tracking
    warnings : list of str
        What a reader or the joining found suspicious.

    Raises
    ------
    InputError
        If a file cannot be read, its extension is unknown, or two values contradict each other
        that are of the same measurement.
    """
    files = [Path(path) for path in paths]
    _require_there(files, campaign)
    parts: list[Tracking] = []
    warnings: list[str] = []
    for path in files:
        part, found = _read(path, campaign)
        parts.append(part)
        warnings += found
    joined = Tracking.concatenate(parts)
    sources = np.repeat(np.arange(len(files)), [len(part) for part in parts])
    used, warnings = _used_once(joined, [str(files[k]) for k in sources], warnings)
    apart, shared = passes_told_apart(used)
    return apart, [*warnings, *shared]


def _read(path: Path, campaign: Campaign | None) -> tuple[Tracking, list[str]]:
    """A file by the scenario's description of it, or by its extension."""
    if campaign is not None and path in campaign.tables:
        return read_text_table(campaign.tables[path]), []
    return READERS[extension(path)](path, campaign)


def _require_there(files: list[Path], campaign: Campaign | None) -> None:
    """Complain of files that are not there, and say where the scenario names them."""
    for path in files:
        if path.exists():
            continue
        if campaign is not None and path in campaign.data_files:
            raise read_toml(campaign.source).section("data", {}).file_not_found("files", path)
        raise InputError("the file is not found", source=path)


def extension(path: Path) -> str:
    """The extension that decides who reads a file, without that of a compression.

    Raises
    ------
    InputError
        If it is none that is known.
    """
    suffix = (path.with_suffix("") if path.suffix == ".gz" else path).suffix.lower()
    if suffix not in READERS:
        raise InputError(
            "no reader for such a file",
            source=path,
            found=suffix or "no extension",
            expected=f"{', '.join(READERS)}; or a table that the scenario describes",
        )
    return suffix


def _used_once(
    tracking: Tracking, source: list[str], warnings: list[str]
) -> tuple[Tracking, list[str]]:
    """The measurements without repetitions; those of other value contradict and are refused."""
    doubles = repetitions(tracking)
    for row, earlier in doubles:
        step = abs(tracking.value[row] - tracking.value[earlier])
        if step > SAME_SHARE_OF_SIGMA * min(tracking.sigma[row], tracking.sigma[earlier]):
            raise InputError(
                f"contradicts {source[earlier]}: {_said(tracking, row)} has another value there",
                source=source[row],
                field=str(tracking.kind[row]),
                found=float(tracking.value[row]),
                expected=f"{float(tracking.value[earlier])!r}, or one of the two files",
            )
    if not doubles:
        return tracking, warnings
    row, earlier = doubles[0]
    named = (
        f"{len(doubles)} measurements stand twice in the data and are used once; the first is "
        f"{_said(tracking, row)} in {source[row]}, which stands in {source[earlier]} already"
    )
    keep = np.ones(len(tracking), bool)
    keep[[row for row, _ in doubles]] = False
    return tracking[keep], [*warnings, named]


def _said(tracking: Tracking, row: int) -> str:
    """One measurement in words."""
    at = calendar_text(tracking.epoch[row : row + 1])[0]
    return f"the {tracking.kind[row]} of {tracking.receiver[row]} at {at[:MILLISECONDS]} UTC"
