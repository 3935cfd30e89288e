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
from pathlib import Path

import numpy as np
from astropy.time import Time

from wobble.errors import InputError
from wobble.formats.blq import read_blq
from wobble.formats.crd import read_crd
from wobble.formats.normal_points import tracking as tracking_of_sessions
from wobble.formats.passes import read_normal_point_table, read_passes, write_passes
from wobble.formats.sinex import read_sinex
from wobble.formats.tdm import kvn_text, read_tdm
from wobble.formats.tdm_agreement import Agreement
from wobble.formats.tdm_message import Segment, TrackingDataMessage
from wobble.formats.tdm_needs import needs
from wobble.formats.tdm_tracking import tracking as tracking_of_message
from wobble.formats.tdm_writing import message_from
from wobble.formats.tdm_xml import xml_text

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "formats"))

from test_blq import SAMPLE as BLQ  # noqa: E402 - the path of the tests comes first
from test_passes_file import campaign  # noqa: E402
from test_sinex import SAMPLE as SINEX  # noqa: E402
from test_tdm_tracking import campaign as passes  # noqa: E402

LUNAR = HERE / "data" / "lunar_ranging"
ANNEX = HERE / "data" / "tdm"
SLOWEST = 1.0
LARGEST_GROWTH_MB = 200.0
AGREEMENT = Agreement(
    stations={"STATION A": "north", "STATION B": "east"},
    landers={"SPACECRAFT": "rover"},
    range_sigma=1.0,
    range_rate_sigma=1e-4,
    two_way_range="whole",
    two_way_doppler="whole",
    range_unit_seconds=1e-9,
    delays="removed",
    range_epoch="tag",
    uplink_frequency=7e9,
    metadata={"TIMETAG_REF": "RECEIVE"},
)
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


def formats(folder: Path) -> dict[str, tuple[Callable[[Path], object], list[bytes]]]:
    """For each format, its reader and some valid files."""
    write_passes(folder / "valid.ecsv", campaign())
    messages = [read_tdm(path) for path in sorted(ANNEX.iterdir())]
    created = Time("2021-04-01", scale="utc")
    messages += 6 * [message_from(passes(), AGREEMENT, "EXAMPLE", created)]
    messages += 3 * [ramped()]
    return {
        "passes": (read_passes, [(folder / "valid.ecsv").read_bytes()]),
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
    }


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
                    content = mutant(gzip.compress(content, 1), rng)
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
