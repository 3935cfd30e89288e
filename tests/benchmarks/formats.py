"""How fast and in what memory a Tracking Data Message of a million lines is read.

    python tests/benchmarks/formats.py [--lines N] [--json]

A file in keyword = value notation is generated and read in a process of its own, whose largest
memory is taken: ``seconds`` for the message with every digit, ``seconds_to_measurements`` for
the table of range rates out of it. The open reference reader, ccsds-ndm, reads a shorter file,
from which its speed is taken. Seconds are processor time.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from ccsds_ndm.ndm_io import NdmIo

from wobble.tdm.agreement import Agreement
from wobble.tdm.conversion import tracking
from wobble.tdm.kvn import read_tdm

REFERENCE_LINES = 5_000
HEAD = """CCSDS_TDM_VERS = 2.0
CREATION_DATE = 2021-04-01T00:00:00
ORIGINATOR = EXAMPLE
META_START
TIME_SYSTEM = UTC
PARTICIPANT_1 = STATION
PARTICIPANT_2 = LANDER
MODE = SEQUENTIAL
PATH = 1,2,1
TIMETAG_REF = RECEIVE
INTEGRATION_INTERVAL = 1.0
INTEGRATION_REF = MIDDLE
TURNAROUND_NUMERATOR = 880
TURNAROUND_DENOMINATOR = 749
META_STOP
DATA_START
TRANSMIT_FREQ_1 = 2021-03-01T00:00:00 7200000000.0
"""
TAIL = "DATA_STOP\n"
AGREEMENT = Agreement({"STATION": "station"}, {"LANDER": "lander"}, range_rate_sigma=1e-4)


def write_file(path: Path, lines: int) -> None:
    """A message of so many lines: a received frequency each second."""
    start = datetime(2021, 3, 1)
    with path.open("w") as file:
        file.write(HEAD)
        for k in range(lines - HEAD.count("\n") - 1):
            tag = (start + timedelta(seconds=k)).isoformat()
            file.write(f"RECEIVE_FREQ = {tag}.125 {8459279512.1234567 + 1e-3 * k:.7f}\n")
        file.write(TAIL)


def read(path: Path) -> dict[str, float]:
    """Seconds and largest memory of this process, reading and converting a file."""
    begun = time.process_time()
    message = read_tdm(path)
    read_seconds, read_memory = time.process_time() - begun, _memory_mb()
    table = tracking(message, AGREEMENT)
    return {
        "seconds": read_seconds,
        "peak_memory_mb": read_memory,
        "seconds_to_measurements": time.process_time() - begun,
        "peak_memory_to_measurements_mb": _memory_mb(),
        "measurements": len(table),
    }


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def reference_seconds(path: Path) -> float:
    """Seconds in which the reference reader reads a file."""
    begun = time.process_time()
    NdmIo().from_path(path)
    return time.process_time() - begun


def measure(lines: int) -> dict[str, float]:
    """Everything, in files of a temporary folder."""
    with tempfile.TemporaryDirectory() as name:
        path, short = Path(name) / "file.kvn", Path(name) / "short.kvn"
        write_file(path, lines)
        write_file(short, REFERENCE_LINES)
        # A process of its own, so that its memory is that of reading alone.
        command = [sys.executable, __file__, "--read", str(path)]
        found = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
        reference = reference_seconds(short)
    return {
        "lines": lines,
        "lines_per_s": lines / found["seconds"],
        "reference_lines_per_s": REFERENCE_LINES / reference,
        **found,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--read", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.read:
        print(json.dumps(read(options.read)))
        return
    found = {name: round(value, 3) for name, value in measure(options.lines).items()}
    if options.json:
        print(json.dumps(found, indent=1))
        return
    for name, value in found.items():
        print(f"{name:<34}{value:16,.1f}")


if __name__ == "__main__":
    main()
