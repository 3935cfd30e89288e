"""Nutation in longitude and obliquity as a series of circular terms.

In: amplitudes, from a fit (`wobble.planet.nutation`) or from a list. Out: a `NutationSeries`
that can be evaluated, amplified by a core (`wobble.planet.liquid_core`), and shown.

Nutation is described by the complex number

    z = deps + i sin(eps) dpsi = sum_j P_j exp(i arg_j) + R_j exp(-i arg_j),

P_j the prograde and R_j the retrograde circle of term j. With the axis pointing towards the
reader, deps runs along the first and sin(eps) dpsi along the second axis of a right-handed
pair, so a prograde circle runs in the sense of a positive spin rate. In sines and cosines,

    deps = c cos + d sin,  sin(eps) dpsi = a sin + b cos,
    P = ((c + a) + i (b - d)) / 2,  R = ((c - a) + i (b + d)) / 2.

Amplitudes may drift (Poisson terms), ``P + dP/dt t`` with t from the epoch of the series.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import astropy.units as u
import numpy as np
from astropy.table import QTable
from numpy.typing import NDArray

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import HarmonicSeries

__all__ = ["Circles", "NutationSeries"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PSI, EPS = 0, 1


@dataclass(frozen=True, eq=False)
class Circles:
    """Complex amplitudes of m terms at the epoch and their rates.

    Parameters
    ----------
    prograde, retrograde : ndarray, shape (m,)
        P and R, rad.
    prograde_rate, retrograde_rate : ndarray, shape (m,)
        dP/dt and dR/dt, rad/s.
    """

    prograde: Complex
    retrograde: Complex
    prograde_rate: Complex
    retrograde_rate: Complex


@dataclass(frozen=True, eq=False)
class NutationSeries:
    """Precession and nutation in longitude and obliquity as a series.

    Parameters
    ----------
    body : str
        The planet.
    terms : tuple of str, length m
        Name of each argument.
    harmonics : HarmonicSeries
        Its two columns are psi and eps, rad.
    """

    body: str
    terms: tuple[str, ...]
    harmonics: HarmonicSeries

    @classmethod
    def from_circles(
        cls,
        body: str,
        terms: Sequence[str],
        frame: HarmonicSeries,
        circles: Circles,
    ) -> Self:
        """Series with given prograde and retrograde amplitudes and their rates.

        Parameters
        ----------
        body, terms : str, sequence of str
            As of the class.
        frame : HarmonicSeries
            Epoch, arguments and polynomial; its amplitudes are replaced.
        circles : Circles
            The amplitudes.
        """
        sine = np.sin(frame.polynomial[0, EPS])
        cosine, sine_part = _from_circles(circles.prograde, circles.retrograde, sine)
        cosine_rate, sine_rate = _from_circles(circles.prograde_rate, circles.retrograde_rate, sine)
        harmonics = replace(
            frame,
            cosine=cosine,
            sine=sine_part,
            cosine_rate=cosine_rate,
            sine_rate=sine_rate,
        )
        return cls(body, tuple(terms), harmonics)

    @property
    def longitude(self) -> float:
        """Mean longitude psi of the equator's node at the epoch, rad."""
        return float(self.harmonics.polynomial[0, PSI])

    @property
    def obliquity(self) -> float:
        """Mean obliquity at the epoch, rad."""
        return float(self.harmonics.polynomial[0, EPS])

    @property
    def precession_rate(self) -> float:
        """Rate of psi at the epoch, rad/s."""
        return float(self.harmonics.polynomial[1, PSI])

    @property
    def obliquity_rate(self) -> float:
        """Rate of the mean obliquity at the epoch, rad/s."""
        return float(self.harmonics.polynomial[1, EPS])

    @property
    def frequency(self) -> Array:
        """Rates of the arguments, rad/s, shape (m,)."""
        return self.harmonics.frequency

    @property
    def circles(self) -> Circles:
        """Amplitudes of the circles and their rates."""
        h, sine = self.harmonics, np.sin(self.obliquity)
        return Circles(
            *_to_circles(h.cosine, h.sine, sine),
            *_to_circles(h.cosine_rate, h.sine_rate, sine),
        )

    @property
    def prograde(self) -> Complex:
        """Amplitudes P of the prograde circles at the epoch, rad, shape (m,)."""
        return self.circles.prograde

    @property
    def retrograde(self) -> Complex:
        """Amplitudes R of the retrograde circles at the epoch, rad, shape (m,)."""
        return self.circles.retrograde

    def nutation(self, epochs: Epochs) -> Array:
        """dpsi and deps without the secular part, rad, shape (n, 2)."""
        return self.harmonics.periodic(epochs)

    def value(self, epochs: Epochs) -> Array:
        """psi and eps with the secular part, rad, shape (n, 2)."""
        return self.harmonics.value(epochs)

    def amplitude_partials(self, epochs: Epochs) -> Array:
        """Derivatives of dpsi and deps with respect to the amplitudes, shape (n, 2, 4 m).

        Columns are the m real parts of P, the m imaginary parts of P, then those of R: for
        fitting the amplitudes one by one and interpreting them later.
        """
        h = self.harmonics
        t = (epochs.seconds - h.epoch) + epochs.fraction
        turn = np.exp(1j * (t[:, None] * h.frequency + h.phase))
        z = np.hstack([turn, 1j * turn, turn.conj(), 1j * turn.conj()])
        return np.stack([z.imag / np.sin(self.obliquity), z.real], axis=1)

    def classical(self, node_argument: float) -> Array:
        """Amplitudes of ``m l`` and ``m l + q`` instead of sines and cosines of ``m l``.

        ``dpsi = sum psi_m sin(m l) + psi_mq sin(m l + q)``,
        ``deps = sum eps_m cos(m l) + eps_mq cos(m l + q)``.

        Parameters
        ----------
        node_argument : float
            q, rad: ``2 (perihelion - psi)``.

        Returns
        -------
        ndarray, shape (m, 4)
            psi_m, psi_mq, eps_m, eps_mq, rad.

        Raises
        ------
        InputError
            If q is a multiple of 180 degrees, where the two arguments coincide.
        """
        cosine_q, sine_q = np.cos(node_argument), np.sin(node_argument)
        if abs(sine_q) < 1e-6:
            raise InputError(
                "the arguments m l and m l + q cannot be told apart",
                field="node_argument",
                found=node_argument,
                expected="not a multiple of pi",
            )
        h = self.harmonics
        psi_q, eps_q = h.cosine[:, PSI] / sine_q, -h.sine[:, EPS] / sine_q
        psi, eps = h.sine[:, PSI] - psi_q * cosine_q, h.cosine[:, EPS] - eps_q * cosine_q
        return np.stack([psi, psi_q, eps, eps_q], axis=1)

    def plus(self, other: NutationSeries) -> NutationSeries:
        """Both series together: terms one after the other, rates of the secular parts added.

        The angles at the epoch stay those of the first.

        Raises
        ------
        InputError
            If the two are not of one body and epoch.
        """
        a, b = self.harmonics, other.harmonics
        if (self.body, a.epoch) != (other.body, b.epoch):
            raise InputError(
                "two series of different bodies or epochs have no sum",
                found=(other.body, b.epoch),
                expected=(self.body, a.epoch),
            )
        polynomial = a.polynomial.copy()
        polynomial[1:] += b.polynomial[1:]
        harmonics = replace(
            a,
            polynomial=polynomial,
            frequency=np.concatenate([a.frequency, b.frequency]),
            phase=np.concatenate([a.phase, b.phase]),
            cosine=np.concatenate([a.cosine, b.cosine]),
            sine=np.concatenate([a.sine, b.sine]),
            cosine_rate=np.concatenate([a.cosine_rate, b.cosine_rate]),
            sine_rate=np.concatenate([a.sine_rate, b.sine_rate]),
        )
        return NutationSeries(self.body, self.terms + other.terms, harmonics)

    def to_table(self) -> QTable:
        """One row per term: period, circles (amplitude and phase), sines, cosines, their rates.

        The phase of a prograde circle is the angle of P, ``z = |P| exp(i (arg + phase))``;
        that of a retrograde one the angle of R, ``z = |R| exp(i (phase - arg))``, where
        ``arg`` is the argument itself with its value at the epoch.
        """
        h = self.harmonics
        table = QTable()
        table["argument"] = list(self.terms)
        table["period"] = 2.0 * np.pi / h.frequency / DAY * u.day
        for name, circle in (("prograde", self.prograde), ("retrograde", self.retrograde)):
            table[name] = np.abs(circle) / MAS * u.mas
            table[f"{name}_phase"] = np.degrees(np.angle(circle)) * u.deg
        for name, part in (("sin", h.sine), ("cos", h.cosine)):
            table[f"psi_{name}"] = part[:, PSI] / MAS * u.mas
            table[f"eps_{name}"] = part[:, EPS] / MAS * u.mas
        for name, part in (("sin", h.sine_rate), ("cos", h.cosine_rate)):
            table[f"psi_{name}_rate"] = part[:, PSI] * (JULIAN_YEAR / MAS) * u.mas / u.yr
            table[f"eps_{name}_rate"] = part[:, EPS] * (JULIAN_YEAR / MAS) * u.mas / u.yr
        return table

    def caption(self) -> str:
        """The secular part, and what the series leaves, in a sentence."""
        h, to_year = self.harmonics, JULIAN_YEAR / MAS
        year = Epochs.of(h.epoch).to_time().jyear[0]
        psi_bend, eps_bend = h.polynomial[2] * JULIAN_YEAR**2 / MAS
        return (
            f"Nutation of {self.body}, secular part at J{year:.1f}: "
            f"psi {np.degrees(self.longitude):.7f} deg, "
            f"{self.precession_rate * to_year:+.2f} mas/yr, "
            f"{psi_bend:+.4f} mas/yr^2; "
            f"eps {np.degrees(self.obliquity):.7f} deg, "
            f"{self.obliquity_rate * to_year:+.2f} mas/yr, "
            f"{eps_bend:+.4f} mas/yr^2. "
            f"The fit left {h.rms[PSI] / MAS:.2f} mas in psi and {h.rms[EPS] / MAS:.2f} mas in eps "
            "(rms)."
        )

    def rounded_table(self) -> QTable:
        """What fits on a screen: without the rates of the amplitudes."""
        table = self.to_table()
        table.remove_columns([name for name in table.colnames if name.endswith("_rate")])
        for name in table.colnames[1:]:
            table[name].info.format = ".1f" if name.endswith("phase") else ".3f"
        return table

    def __str__(self) -> str:
        return "\n".join(
            [self.caption(), *self.rounded_table().pformat(max_lines=-1, max_width=-1)]
        )

    def __repr__(self) -> str:
        return f"<NutationSeries: {self.body}, {len(self.terms)} terms>"

    def _repr_html_(self) -> str:
        rows = "".join(self.rounded_table().pformat(max_lines=-1, max_width=-1, html=True))
        return f"<p>{self.caption()}</p>{rows}"


def _to_circles(cosine: Array, sine: Array, sine_of_obliquity: float) -> tuple[Complex, Complex]:
    """P and R of amplitudes of psi and eps, shape (m, 2)."""
    a, b = sine_of_obliquity * sine[:, PSI], sine_of_obliquity * cosine[:, PSI]
    c, d = cosine[:, EPS], sine[:, EPS]
    prograde = ((c + a) + 1j * (b - d)) / 2.0
    retrograde = ((c - a) + 1j * (b + d)) / 2.0
    return prograde.astype(complex), retrograde.astype(complex)


def _from_circles(
    prograde: Complex, retrograde: Complex, sine_of_obliquity: float
) -> tuple[Array, Array]:
    """Cosine and sine amplitudes of psi and eps, each of shape (m, 2)."""
    both, difference = prograde + retrograde, prograde - retrograde
    return (
        np.stack([both.imag / sine_of_obliquity, both.real], axis=1),
        np.stack([difference.real / sine_of_obliquity, -difference.imag], axis=1),
    )
