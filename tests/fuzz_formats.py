"""Throw broken files at the readers: ``python tests/fuzz_formats.py --mutants 100000``.

Each mutant of a valid file must either be read or be refused with an `InputError` that names
the file. Any other exception, a mutant that takes longer than a second, or one that makes
the process grow by more than a bound ends the run with status 1 and leaves the file behind.
A message that is read must say what its file says: each of its numbers stands there digit by
digit, and written in either notation it is read again as it was.
Every tenth mutant is handed over compressed, so that the compression is broken as well.
"""

from __future__ import annotations

import argparse
import gzip
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import astropy_iers_data
import numpy as np
from astropy.time import Time

from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.errors import InputError
from wobble.estimation.core_estimate import CoreEstimate
from wobble.estimation.solution import Solution
from wobble.files.angle_table import read_angle_table
from wobble.files.blq import read_blq
from wobble.files.body_file import read_body
from wobble.files.core_estimate_file import read_core_estimate
from wobble.files.crd import read_crd
from wobble.files.earth_orientation import read_earth_orientation
from wobble.files.interior_file import read_interior
from wobble.files.measurement_table import read_normal_point_table, read_passes, write_passes
from wobble.files.normal_points import tracking as tracking_of_sessions
from wobble.files.results import read_schedule
from wobble.files.series_table import read_series
from wobble.files.sinex import read_sinex
from wobble.files.solution_files import read_information, read_solution, write_solution
from wobble.measurements.tracking import COLUMNS
from wobble.scenario.station_sections import read_catalogue
from wobble.tdm.agreement import Agreement
from wobble.tdm.conversion import tracking as tracking_of_message
from wobble.tdm.kvn import kvn_text, read_tdm
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.needs import needs
from wobble.tdm.station_series import read_message_series
from wobble.tdm.writing import message_from
from wobble.tdm.xml import xml_text

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE / place) for place in ("files", "tdm", "estimation")]

from invented import varied_solution  # noqa: E402 - the path of the tests comes first
from test_blq import SAMPLE as BLQ  # noqa: E402
from test_passes_file import campaign  # noqa: E402
from test_series_table import MEDIA, WEATHER  # noqa: E402
from test_sinex import SAMPLE as SINEX  # noqa: E402
from test_tdm_downlink import campaign as one_way_passes  # noqa: E402
from test_tdm_tracking import campaign as passes  # noqa: E402

LUNAR = HERE / "data" / "lunar_ranging"
DEMONSTRATION = HERE.parent / "synthetic_passes"
BODIES = HERE.parent / "wobble" / "planet" / "data"
ANNEX = HERE / "data" / "tdm"
SLOWEST = 1.0
LARGEST_GROWTH_MB = 200.0
AGREEMENT = Agreement(
    stations={"STATION A": "north", "STATION B": "east"},
    landers={"SPACECRAFT": "rover"},
    range_sigma=1.0,
    range_rate_sigma=1e-4,
    one_way_range_rate_sigma=1e-3,
    two_way_range="whole",
    two_way_doppler="whole",
    range_unit_seconds=1e-9,
    delays="removed",
    range_epoch="tag",
    uplink_frequency=7e9,
    metadata={"TIMETAG_REF": "RECEIVE"},
)
ANGLES = """\
# %ECSV 1.0
# ---
# datatype:
# - {name: epoch, datatype: string}
# - {name: polar_x, unit: mas, datatype: float64}
# - {name: spin, unit: mas, datatype: float64}
# schema: astropy-2.0
epoch polar_x spin
2031-05-01T00:00:00 1.0 4.0
2031-06-01T00:00:00 2.0 3.0
2031-07-01T00:00:00 1.5 2.0
2031-08-01T00:00:00 1.0 1.0
"""
SUMMARY = b"""{"parameters": {
 "core.factor": {"value": 0.061, "unit": "", "sigma_realistic": 0.006},
 "pole.precession_rate": {"value": -7608.3, "unit": "mas / yr", "sigma_realistic": 2.1}}}
"""
SCHEDULE = """\
# %ECSV 1.0
# ---
# datatype:
# - {name: pass, datatype: string}
# - {name: station, datatype: string}
# - {name: lander, datatype: string}
# - {name: antenna, datatype: string}
# - {name: start, datatype: string}
# - {name: stop, datatype: string}
# schema: astropy-2.0
pass station lander antenna start stop
P001 alder heron east 2031-05-01T06:00:00 2031-05-01T06:45:00
P002 broom heron west 2031-05-03T06:00:00 2031-05-03T06:45:00
"""
PIECES = [
    b"1e999", b"-1e-999", b"nan", b"9" * 400, b"\x00", b"\xff\xfe", b"\xc3\x28", b"=", b"\r",
    b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"&b;", b"<", b">", b"9999-366T23:59:60", b"# ---",
    "\u0663".encode(), b"*" * 70_000,
]  # fmt: skip


def read_message(path: Path) -> None:
    """Read a tracking data message, write it in both notations, read it again and convert it."""
    message = read_tdm(path)
    content = path.read_bytes()
    if content.isascii():
        for segment in message.segments:
            assert all(text.encode() in content for text in [*segment.values, *segment.tags])
    for text in (kvn_text(message), xml_text(message)):
        path.write_text(text, encoding="utf-8")
        assert read_tdm(path) == message
    needs(message)
    tracking_of_message(message, AGREEMENT, lambda times, *_: np.full(len(times), 2000.0))


def read_table(path: Path) -> None:
    """Read a table of measurements, write it and read it again."""
    tracking = read_passes(path)
    write_passes(path, tracking)
    again = read_passes(path)
    for name in COLUMNS:
        one, other = getattr(tracking, name), getattr(again, name)
        assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), name
    assert np.array_equal(tracking.epoch.jd1, again.epoch.jd1)
    assert np.array_equal(tracking.epoch.jd2, again.epoch.jd2)


def formats(folder: Path) -> dict[str, tuple[Callable[[Path], object], list[bytes]]]:
    """For each format, its reader and some valid files."""
    write_passes(folder / "valid.ecsv", campaign())
    messages = [read_tdm(path) for path in sorted(ANNEX.iterdir())]
    created = Time("2021-04-01", scale="utc")
    messages += 6 * [message_from(passes(), AGREEMENT, "EXAMPLE", created)]
    messages += 3 * [ramped()]
    messages += 3 * [message_from(one_way_passes(), AGREEMENT, "EXAMPLE", created), downlink()]
    series = [write(message).encode() for message in [media()] for write in (kvn_text, xml_text)]
    return {
        "passes": (read_table, [(folder / "valid.ecsv").read_bytes()]),
        "normal points": (
            read_normal_point_table,
            [(LUNAR / "normal_points_2015_04.csv").read_bytes()],
        ),
        "crd": (
            lambda path: tracking_of_sessions(read_crd(path)),
            [(LUNAR / "luna17_201504_sample.npt").read_bytes()],
        ),
        "tdm kvn": (read_message, [kvn_text(message).encode() for message in messages]),
        "tdm xml": (read_message, [xml_text(message).encode() for message in messages]),
        "sinex": (read_sinex, [SINEX.encode()]),
        "blq": (read_blq, [BLQ.encode()]),
        "weather": (lambda path: read_series(WeatherSeries, path), [WEATHER.encode()]),
        "media": (lambda path: read_series(MediaSeries, path), [MEDIA.encode()]),
        "media in messages": (read_message_media, series),
        "earth orientation": (
            read_earth_orientation,
            [
                some_lines(astropy_iers_data.IERS_A_FILE, slice(15_990, 16_010)),
                some_lines(astropy_iers_data.IERS_A_FILE, slice(-470, -450)),
                some_lines(astropy_iers_data.IERS_B_FILE, [*range(6), *range(20_000, 20_020)]),
            ],
        ),
        "angles": (read_angle_table, [ANGLES.encode()]),
        "schedule": (read_schedule, [SCHEDULE.encode()]),
        "stations": (read_catalogue, [(DEMONSTRATION / "stations.toml").read_bytes()]),
        "body": (read_body, [(BODIES / f"{name}.toml").read_bytes() for name in ("mars", "moon")]),
        "interior": (read_interior, [(BODIES / "mars_interior.toml").read_bytes()]),
        **results(folder / "results"),
    }


def results(folder: Path) -> dict[str, tuple[Callable[[Path], object], list[bytes]]]:
    """The tables of a fit: each read by itself, or with the others, which are whole."""
    folder.mkdir()
    write_solution(folder, varied_solution())
    found: dict[str, tuple[Callable[[Path], object], list[bytes]]] = {
        "information": (read_information, [(folder / "information.ecsv").read_bytes()]),
        "summary": (read_summary, [SUMMARY]),
    }
    for name in ("solution", "covariance", "residuals", "pass_parameters"):
        valid = (folder / f"{name}.ecsv").read_bytes()
        found[f"{name} of a fit"] = (partial(read_among, folder, f"{name}.ecsv", valid), [valid])
    return found


def read_summary(path: Path) -> CoreEstimate:
    """Read a summary, which is known by its extension."""
    return read_core_estimate(path.rename(path.with_suffix(".json")))


def read_among(folder: Path, name: str, valid: bytes, path: Path) -> Solution:
    """Read a folder of results in which one file is that of the path."""
    try:
        (folder / name).write_bytes(path.read_bytes())
        return read_solution(folder)
    except InputError as error:
        named = path if str(folder) in str(error) else None
        raise InputError(str(error), source=named) from error
    finally:
        (folder / name).write_bytes(valid)


def ramped() -> TrackingDataMessage:
    """Received frequencies of a ramped uplink."""
    segment = Segment()
    for keyword, value in (
        *(("TIME_SYSTEM", "UTC"), ("PARTICIPANT_1", "STATION A"), ("PARTICIPANT_2", "SPACECRAFT")),
        *(("PATH", "1,2,1"), ("TURNAROUND_NUMERATOR", "880"), ("TURNAROUND_DENOMINATOR", "749")),
        *(("INTEGRATION_INTERVAL", "60"), ("INTEGRATION_REF", "END"), ("FREQ_OFFSET", "8.4e9")),
        *(("RECEIVE_DELAY_1", "1e-6"), ("CORRECTION_RECEIVE", "1"), ("CORRECTIONS_APPLIED", "NO")),
    ):
        segment.describe(keyword, value)
    for minute in range(10, 15):
        segment.add("TRANSMIT_FREQ_1", f"2021-03-01T04:{minute}:00", f"72000000{minute}.5")
        segment.add("TRANSMIT_FREQ_RATE_1", f"2021-03-01T04:{minute}:00", "0.02")
        segment.add("RECEIVE_FREQ", f"2021-03-01T05:{minute}:00", f"592795{minute}.125")
    header = {"CREATION_DATE": "2021-04-01T00:00:00", "ORIGINATOR": "EXAMPLE"}
    return TrackingDataMessage(header=header, segments=[segment])


def downlink() -> TrackingDataMessage:
    """Received frequencies and Doppler of a lander's own oscillator, in another's style."""
    segment = Segment()
    for keyword, value in (
        *(("TIME_SYSTEM", "GPS"), ("PARTICIPANT_1", "STATION A"), ("PARTICIPANT_2", "SPACECRAFT")),
        *(("MODE", "SEQUENTIAL"), ("PATH", "2,1"), ("TIMETAG_REF", "RECEIVE")),
        *(("INTEGRATION_INTERVAL", "60"), ("INTEGRATION_REF", "START"), ("FREQ_OFFSET", "8.4e9")),
        *(("RECEIVE_DELAY_1", "1e-6"), ("CORRECTION_RECEIVE", "1"), ("CORRECTIONS_APPLIED", "NO")),
    ):
        segment.describe(keyword, value)
    segment.add("TRANSMIT_FREQ_2", "2021-03-01T05:00:00", "8400000000.25")
    for minute in range(10, 15):
        segment.add("RECEIVE_FREQ_1", f"2021-03-01T05:{minute}:00", f"-3227{minute}.125")
        segment.add("DOPPLER_INSTANTANEOUS", f"2021-03-01T05:{minute}:00", f"11.5{minute}")
    header = {"CREATION_DATE": "2021-04-01T00:00:00", "ORIGINATOR": "EXAMPLE"}
    return TrackingDataMessage(header=header, segments=[segment])


def media() -> TrackingDataMessage:
    """Delays at the zenith and electron contents at a station."""
    segment = Segment()
    segment.describe("TIME_SYSTEM", "UTC")
    segment.describe("PARTICIPANT_1", "STATION A")
    for hour in range(10, 15):
        segment.add("TROPO_DRY", f"2021-03-01T{hour}:00:00", f"2.1{hour}")
        segment.add("TROPO_WET", f"2021-03-01T{hour}:00:00", f"0.1{hour}")
        segment.add("STEC", f"2021-03-01T{hour}:00:00", f"25.{hour}")
    header = {"CREATION_DATE": "2021-04-01T00:00:00", "ORIGINATOR": "EXAMPLE"}
    return TrackingDataMessage(header=header, segments=[segment])


def read_message_media(path: Path) -> MediaSeries:
    """Read the media of a message."""
    return read_message_series(MediaSeries, path, AGREEMENT.stations)


def some_lines(path: str, chosen: slice | list[int]) -> bytes:
    """Some lines of a file."""
    lines = Path(path).read_bytes().splitlines(keepends=True)
    return b"".join(lines[chosen] if isinstance(chosen, slice) else [lines[k] for k in chosen])


def mutant(content: bytes, rng: np.random.Generator) -> bytes:
    """The content with one or two things wrong."""
    for _ in range(rng.integers(1, 3)):
        lines = content.split(b"\n")
        a, b = (int(k) for k in rng.integers(0, len(lines), 2))
        at = int(rng.integers(0, max(len(content), 1)))
        match rng.integers(0, 8):
            case 0:
                content = content[:at] + bytes([int(rng.integers(0, 256))]) + content[at + 1 :]
            case 1:
                content = content[:at]
            case 2:
                content = b"\n".join(lines[:a] + lines[a + 1 :])
            case 3:
                content = b"\n".join([*lines[:a], lines[a], *lines[a:]])
            case 4:
                lines[a], lines[b] = lines[b], lines[a]
                content = b"\n".join(lines)
            case 5:
                piece = PIECES[int(rng.integers(0, len(PIECES)))]
                content = content[:at] + piece + content[at:]
            case 6:
                words = lines[a].split(b" ")
                words[int(rng.integers(0, len(words)))] = PIECES[int(rng.integers(0, len(PIECES)))]
                lines[a] = b" ".join(words)
                content = b"\n".join(lines)
            case 7:
                encoding = ("utf-16", "utf-8-sig", "cp500")[int(rng.integers(0, 3))]
                content = content.decode("latin-1").encode(encoding, "replace")
    return content


def main() -> int:
    """Run over all formats and say what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=10_000, help="mutants of each format")
    parser.add_argument("--start", type=int, default=0, help="start of the random numbers")
    parser.add_argument("--formats", nargs="*", help="which of them; all if left out")
    options = parser.parse_args()
    rng = np.random.default_rng(options.start)
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "mutant"
        known = formats(Path(name))
        for format_name in options.formats or known:
            read, valid = known[format_name]
            before, taken, refused, begun = _memory_mb(), 0, 0, time.process_time()
            for number in range(options.mutants):
                content = mutant(valid[number % len(valid)], rng)
                if number % 10 == 0:
                    content = mutant(gzip.compress(content, 1, mtime=0), rng)
                path.write_bytes(content)
                started = time.process_time()
                try:
                    read(path)
                    taken += 1
                except InputError as error:
                    refused += 1
                    if str(path) not in str(error):
                        return _report(format_name, content, f"names no file: {error}")
                except Exception as error:  # exactly this is looked for
                    return _report(format_name, content, repr(error))
                if time.process_time() - started > SLOWEST:
                    return _report(format_name, content, "too slow")
            growth = _memory_mb() - before
            seconds = time.process_time() - begun
            print(
                f"{format_name}: {taken} read, {refused} refused, {growth:.0f} MB more, "
                f"{seconds:.0f} s"
            )
            if growth > LARGEST_GROWTH_MB:
                return _report(format_name, b"", f"grew by {growth:.0f} MB")
    return 0


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _report(format_name: str, content: bytes, problem: str) -> int:
    kept = Path(tempfile.gettempdir()) / f"mutant of {format_name}"
    kept.write_bytes(content)
    print(f"{format_name}: {problem}; the file is kept as {kept}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
