"""Station coordinates in the SINEX form: positions, velocities, and where they jump.

In: one or several files of a terrestrial frame's solution, plain or gzip-compressed; the
discontinuities may stand in a file of their own. Out: `Sinex`, which gives for a station and
a time the solution that holds then: ITRF position (m) at a reference epoch and velocity.

The blocks SITE/ID, SOLUTION/ESTIMATE (STAX, STAY, STAZ, VELX, VELY, VELZ), SOLUTION/EPOCHS and
SOLUTION/DISCONTINUITY are read; all others are passed over.

A solution holds from one discontinuity of the position to the next. Without any, it holds
over the span of its data, and the first and the last of a station's solutions before and
after them; a time in a gap between two belongs to neither. Source: SINEX format, version
2.02 (2006), IERS.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import erfa
import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import DAY, J2000_JD, JULIAN_YEAR
from wobble.errors import InputError, UnknownNameError
from wobble.text.lines import Line, read_lines

__all__ = ["Sinex", "SiteSolution", "read_sinex"]

Path = str | os.PathLike[str]
Array = NDArray[np.float64]

POSITION = ("STAX", "STAY", "STAZ")
VELOCITY = ("VELX", "VELY", "VELZ")
YEAR_UNITS = ("m/y", "m/yr", "m/a")
DOMES = re.compile("[0-9]{5}[MS][0-9]{3}")


@dataclass(frozen=True, eq=False)
class SiteSolution:
    """Position and velocity of one site in one interval.

    Parameters
    ----------
    code, point, solution : str
        Site code, point code and number of the solution.
    epoch : float
        Reference epoch of the position, decimal Julian years.
    position, velocity : ndarray, shape (3,)
        ITRF coordinates, m, and their rates, m/s; the rates are NaN where the file has none.
    position_sigma, velocity_sigma : ndarray, shape (3,)
        Their standard deviations, m and m/s.
    start, end : float
        When the solution holds, decimal Julian years; infinite if without limit.
    """

    code: str
    point: str
    solution: str
    epoch: float
    position: Array
    velocity: Array
    position_sigma: Array
    velocity_sigma: Array
    start: float
    end: float


@dataclass(frozen=True)
class Sinex:
    """Solutions of a terrestrial frame.

    Parameters
    ----------
    solutions : list of SiteSolution
        In the order of the file.
    source : str
        The files.
    domes : dict
        DOMES number of a site's points, by code and point.
    """

    solutions: list[SiteSolution]
    source: str
    domes: dict[tuple[str, str], str] = field(default_factory=dict)

    @property
    def codes(self) -> list[str]:
        """Site codes in the order of the file."""
        return list(dict.fromkeys(solution.code for solution in self.solutions))

    def at(self, code: str, time: Time, point: str = "A") -> SiteSolution:
        """The solution of a site that holds at a time.

        Raises
        ------
        InputError
            If the site is not there, or no solution of it holds at that time.
        """
        found = self._of(code, point)
        year = float(time.tt.jyear)
        for solution in found:
            if solution.start <= year < solution.end:
                return solution
        spans = ", ".join(f"{s.start:.4f} to {s.end:.4f}" for s in found)
        raise InputError(
            "no solution of the site holds at that time",
            source=self.source,
            field=f"site {code}",
            found=f"{year:.4f}",
            expected=spans,
        )

    def over(self, site: str, start: Time | None, stop: Time | None) -> SiteSolution:
        """The solution of a site, by its code or its DOMES number, that holds over a whole span.

        Parameters
        ----------
        site : str
            For a code its point A is taken; a DOMES number names the point.
        start, stop : Time or None
            The span; without one the site must have a single solution.

        Raises
        ------
        InputError
            If the site is not there, its position jumps within the span, no solution holds
            there, or several are to choose from without a span.
        """
        code, point = next((key for key, domes in self.domes.items() if domes == site), (site, "A"))
        if start is None or stop is None:
            found = self._of(code, point)
            if len(found) > 1:
                raise InputError(
                    "the site has several solutions, and there is no span to choose by",
                    source=self.source,
                    field=f"site {site}",
                    found=f"{len(found)} solutions",
                    expected="start and stop of the campaign",
                )
            return found[0]
        solution = self.at(code, start, point)
        if float(stop.tt.jyear) > solution.end:
            raise InputError(
                "the position of the site jumps within the span",
                source=self.source,
                field=f"site {site}",
                found=f"{float(start.tt.jyear):.4f} to {float(stop.tt.jyear):.4f}",
                expected=f"a span that ends before {solution.end:.4f}, or begins after it",
            )
        return solution

    def names(self, solution: SiteSolution) -> tuple[str, ...]:
        """Code and, if it is known, DOMES number of the site of a solution."""
        domes = self.domes.get((solution.code, solution.point))
        return (solution.code,) if domes is None else (solution.code, domes)

    def _of(self, code: str, point: str) -> list[SiteSolution]:
        if code not in self.codes:
            known = [*self.codes, *self.domes.values()]
            raise UnknownNameError("site", code, known, source=self.source)
        found = [s for s in self.solutions if (s.code, s.point) == (code, point)]
        if not found:
            points = {s.point for s in self.solutions if s.code == code}
            raise UnknownNameError(f"point of site {code}", point, points, source=self.source)
        return found


def read_sinex(*paths: Path) -> Sinex:
    """Read the solutions of a frame from one or several files.

    Raises
    ------
    InputError
        If a file cannot be read, is not of this form or is cut off, a line cannot be
        understood, a coordinate is missing or given twice, or there are no coordinates.
    """
    content = _Content()
    for path in paths:
        for block, line in _block_lines(path):
            READERS[block](content, line)
    source = ", ".join(os.fspath(path) for path in paths)
    if not content.values:
        raise InputError("there are no station coordinates", source=source)
    sites = dict.fromkeys(key[:2] for key in content.values)
    solutions = [s for site in sites for s in content.site(*site, source)]
    return Sinex(solutions, source, content.domes)


def _block_lines(path: Path) -> Iterator[tuple[str, Line]]:
    """The lines of those blocks that are read, each with the name of its block."""
    block: str | None = None
    line = Line(os.fspath(path), 0, "")
    for line in read_lines(path):
        text = line.text
        if line.number == 1:
            if not text.startswith("%=SNX"):
                raise line.error("not a SINEX file", found=text[:20], expected="%=SNX")
        elif text.startswith("%ENDSNX"):
            if block is not None:
                raise line.error(f"the block {block} has no end")
            return
        elif text.startswith("+"):
            if block is not None:
                raise line.error(f"the block {block} has no end", found=text)
            block = text[1:].strip()
        elif text.startswith("-"):
            if block != text[1:].strip():
                raise line.error("the end of another block", found=text, expected=f"-{block}")
            block = None
        elif text.startswith("*") or not text.strip():
            continue
        elif block is None:
            raise line.error("a line outside all blocks", found=text[:60])
        elif block in READERS:
            yield block, line
    raise line.error("the file is cut off", expected="%ENDSNX")


Key = tuple[str, str, str]


class _Content:
    """What the blocks say, before it is put together."""

    def __init__(self) -> None:
        # Site, point and solution; then type of parameter: epoch, value, sigma, line.
        self.values: dict[Key, dict[str, tuple[float, float, float, Line]]] = {}
        self.spans: dict[Key, tuple[float, float]] = {}
        self.jumps: dict[Key, tuple[float, float]] = {}
        self.domes: dict[tuple[str, str], str] = {}

    def site_id(self, line: Line) -> None:
        """A line of SITE/ID."""
        fields = line.text.split(maxsplit=3)
        if len(fields) < 3:
            raise line.error("the line is too short", found=line.text, expected="3 fields")
        if DOMES.fullmatch(fields[2]):  # some files have dashes there
            self.domes[fields[0], fields[1]] = fields[2]

    def estimate(self, line: Line) -> None:
        """A line of SOLUTION/ESTIMATE."""
        fields = line.text.split()
        if len(fields) > 1 and fields[1] not in POSITION + VELOCITY:
            return
        _, kind, code, point, solution, epoch, unit, _, value, sigma = _fields(line, 10)
        known = ("m",) if kind in POSITION else YEAR_UNITS
        if unit not in known:
            raise line.error("another unit", kind, found=unit, expected=" or ".join(known))
        scale = 1.0 if kind in POSITION else 1.0 / JULIAN_YEAR
        site = self.values.setdefault((code, point, solution), {})
        if kind in site:
            raise line.error(f"given already in line {site[kind][3].number}", kind)
        number, error = line.real(value, kind) * scale, line.real(sigma, kind) * scale
        site[kind] = _year(line, epoch, kind), number, error, line

    def epochs(self, line: Line) -> None:
        """A line of SOLUTION/EPOCHS."""
        code, point, solution, _, start, end, _ = _fields(line, 7)
        self.spans[code, point, solution] = _span(line, start, end)

    def discontinuity(self, line: Line) -> None:
        """A line of SOLUTION/DISCONTINUITY."""
        fields = line.text.split(maxsplit=7)
        if len(fields) < 7:
            raise line.error("the line is too short", found=line.text, expected="7 fields")
        code, point, solution, _, start, end, kind = fields[:7]
        if kind not in ("P", "V"):
            raise line.error("unknown type of discontinuity", found=kind, expected="P or V")
        if kind == "P":
            self.jumps[code, point, solution] = _span(line, start, end)

    def site(self, code: str, point: str, source: str) -> Iterator[SiteSolution]:
        """All solutions of a site."""
        keys = [key for key in self.values if key[:2] == (code, point)]
        for number, key in enumerate(keys):
            if key in self.jumps:
                start, end = self.jumps[key]
            else:
                start, end = self.spans.get(key, (-math.inf, math.inf))
                start = -math.inf if number == 0 else start
                end = math.inf if number == len(keys) - 1 else end
            yield self.solution(key, start, end)

    def solution(self, key: Key, start: float, end: float) -> SiteSolution:
        """One solution of a site."""
        given = self.values[key]
        line = next(iter(given.values()))[3]
        for names in (POSITION, VELOCITY):
            missing = [name for name in names if name not in given]
            if missing and (names is POSITION or len(missing) < len(names)):
                raise line.error(f"site {key[0]} lacks a coordinate", ", ".join(missing))
        epochs = {value[0] for value in given.values()}
        if len(epochs) > 1:
            raise line.error(f"site {key[0]} has several reference epochs", found=sorted(epochs))
        none = (math.nan, math.nan, math.nan, line)
        table = np.array([given.get(name, none)[1:3] for name in POSITION + VELOCITY])
        position, velocity, position_sigma, velocity_sigma = table.T.reshape(4, 3)
        return SiteSolution(
            *key, epochs.pop(), position, velocity, position_sigma, velocity_sigma, start, end
        )


READERS = {
    "SITE/ID": _Content.site_id,
    "SOLUTION/ESTIMATE": _Content.estimate,
    "SOLUTION/EPOCHS": _Content.epochs,
    "SOLUTION/DISCONTINUITY": _Content.discontinuity,
}


def _fields(line: Line, number: int) -> list[str]:
    fields = line.text.split()
    if len(fields) != number:
        raise line.error(
            "another number of fields", found=line.text.strip(), expected=f"{number} fields"
        )
    return fields


def _span(line: Line, start: str, end: str) -> tuple[float, float]:
    # An epoch of noughts leaves the span open.
    first = _year(line, start, "start") if start.strip("0:") else -math.inf
    last = _year(line, end, "end") if end.strip("0:") else math.inf
    if first >= last:
        raise line.error("the span ends before it starts", found=f"{start} {end}")
    return first, last


def _year(line: Line, text: str, field: str) -> float:
    """Decimal Julian year of YY:DDD:SSSSS or YYYY:DDD:SSSSS; its time scale counts for nothing."""
    parts = text.split(":")
    if len(parts) != 3 or len(parts[0]) not in (2, 4):
        raise line.error("not an epoch", field, found=text, expected="YY:DDD:SSSSS")
    year, day, seconds = (line.integer(part, field) for part in parts)
    if len(parts[0]) == 2:
        # The standard's rule for years of two digits.
        year += 2000 if year <= 50 else 1900
    if not (1900 <= year < 2200 and 1 <= day <= 366 and 0 <= seconds <= DAY):
        raise line.error("no such epoch", field, found=text)
    new_year = sum(erfa.cal2jd(year, 1, 1))
    return float(2000.0 + (new_year + day - 1 + seconds / DAY - J2000_JD) * DAY / JULIAN_YEAR)
