"""Frequencies as a station sends and receives them, and ranges in range units.

In: computed ranges and range rates, and the frequency that was sent, constant or in ramps.
Out: the mean received frequency and the mean Doppler shift over a count, Hz, and the range
in range units, whole or modulo; derivatives of the Doppler shift.

A coherent transponder sends back M cycles for each that it receives, so of a count of T
seconds on the receiver's clock

    f_R = (M / T) integral of f_T over the transmitter's clock from t1s to t1e,

and ``t1e - t1s = T (1 - 2 v / c)`` with v the range rate (Moyer 2000, section 13.3). The shift
is the received frequency less M times the mean frequency sent during the count itself:
negative when the lander recedes, and formed without subtracting two frequencies of 1e10 Hz,
of which a float keeps 1e-6 Hz, 1e-5 mm/s. Several ramps may fall within one light time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError
from wobble.link.bands import range_units_per_cycle
from wobble.link.observables import Computed, RangeRate

__all__ = ["Ramps", "doppler_partials", "doppler_shift", "range_units", "received_frequency"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Ramps:
    """Piecewise linear frequency of a station, at epochs of TT.

    The station's clock is taken for right: an offset of a microsecond moves a ramp of 1 Hz/s by
    1e-6 Hz, 2e-8 mm/s of range rate.

    Parameters
    ----------
    starts : Epochs
        TT at which each ramp begins, increasing.
    stop : Epochs
        TT at which the last one ends (one epoch).
    frequencies : ndarray, shape (m,)
        At the begin of each ramp, Hz.
    rates : ndarray, shape (m,)
        Hz/s.

    Raises
    ------
    InputError
        If the ramps are not in order or a frequency is not positive.
    """

    starts: Epochs
    stop: Epochs
    frequencies: Array
    rates: Array

    def __post_init__(self) -> None:
        if not (self.lengths > 0.0).all():
            raise InputError("ramps must follow one another", field="starts and stop")
        ends = self.frequencies + self.rates * self.lengths
        if not ((self.frequencies > 0.0) & (ends > 0.0)).all():
            raise InputError("a transmitted frequency is positive", field="frequencies")

    @classmethod
    def constant(cls, frequency: float, start: Epochs, stop: Epochs) -> Self:
        """One frequency (Hz) from ``start`` to ``stop`` (one TT epoch each)."""
        return cls(start, stop, np.array([frequency]), np.zeros(1))

    @property
    def lengths(self) -> Array:
        """Duration of each ramp, s, shape (m,)."""
        bounds = Epochs.of(
            np.append(self.starts.seconds, self.stop.seconds),
            np.append(self.starts.fraction, self.stop.fraction),
            "tt",
        )
        return bounds[1:].minus(bounds[:-1])

    def at(self, epochs: Epochs) -> Array:
        """Frequency at TT epochs, Hz, shape (n,)."""
        ramp, since = self._locate(epochs)
        return self.frequencies[ramp] + self.rates[ramp] * since

    def cycles(self, epochs: Epochs, interval: ArrayLike) -> tuple[Array, Array, Array]:
        """Cycles sent over ``interval`` seconds from each TT epoch on.

        Returns
        -------
        tuple of ndarray, shape (n,)
            The frequency at the begin, the interval, and the cycles beyond the product of
            the two; apart, so that nothing is lost in a sum of 1e13 cycles.

        Raises
        ------
        EpochRangeError
            If the ramps do not cover an interval.
        """
        seconds = np.broadcast_to(np.asarray(interval, float), (len(epochs),))
        ramp, since = self._locate(epochs)
        last, _ = self._locate(epochs.shift(seconds))
        beyond = 0.5 * self.rates[ramp] * seconds**2
        jumps = self.frequencies[1:] - (self.frequencies + self.rates * self.lengths)[:-1]
        # Each joint within the interval adds what the next ramp has over the one before.
        for step in range(1, int((last - ramp).max(initial=0)) + 1):
            crossed = ramp + step <= last
            joint = np.minimum(ramp + step, len(self.rates) - 1)
            left = np.where(crossed, epochs.shift(seconds).minus(self.starts[joint]), 0.0)
            turned = self.rates[joint] - self.rates[joint - 1]
            beyond += jumps[joint - 1] * left + 0.5 * turned * left**2
        return self.frequencies[ramp] + self.rates[ramp] * since, seconds, beyond

    def _locate(self, epochs: Epochs) -> tuple[NDArray[np.intp], Array]:
        """Ramp of each epoch, and seconds since its begin."""
        ramp = np.searchsorted(self.starts.since_j2000, epochs.since_j2000, side="right") - 1
        outside = (ramp < 0) | (epochs.minus(self.stop) > 0.0)
        if outside.any():
            raise EpochRangeError(
                "the ramps do not cover the transmission",
                outside,
                field="ramps",
                found=repr(epochs[outside]),
                expected=f"{self.starts[0]!r} to {self.stop!r}",
            )
        return ramp, epochs.minus(self.starts[ramp])


def received_frequency(rate: RangeRate, uplink: Ramps, turnaround: Fraction) -> Array:
    """Mean frequency received over each count, Hz, shape (n,).

    Parameters
    ----------
    rate : RangeRate
        Computed range rates, with the counts.
    uplink : Ramps
        What the transmitting station sent.
    turnaround : Fraction
        Of the transponder (`wobble.link.bands`).
    """
    frequency, interval, beyond = _sent(rate, uplink)
    return float(turnaround) * (frequency * interval + beyond) / rate.count_time


def doppler_shift(
    rate: RangeRate, uplink: Ramps, turnaround: Fraction, reference: Ramps | None = None
) -> Array:
    """Mean received frequency less turnaround times mean reference frequency, Hz, shape (n,).

    Parameters
    ----------
    rate, uplink, turnaround
        As for `received_frequency`.
    reference : Ramps, optional
        Frequency at the receiver to which the shift is measured; the uplink if left out.
    """
    frequency, _, beyond = _sent(rate, uplink)
    receiver = rate.link.receiver
    received = receiver.earth.tt(rate.begin.received.epochs)
    standard, count, standard_beyond = (reference or uplink).cycles(received, rate.count_time)
    # Interval less count, not subtracted: what Doppler is about.
    shorter = -2.0 * rate.value / SPEED_OF_LIGHT * count
    cycles = (frequency - standard) * count + frequency * shorter + (beyond - standard_beyond)
    return float(turnaround) * cycles / count


def doppler_partials(
    rate: RangeRate,
    uplink: Ramps,
    turnaround: Fraction,
    names: Iterable[str],
    reference: Ramps | None = None,
) -> dict[str, Array]:
    """Derivatives of `doppler_shift` by name, Hz per SI unit, shape (n,) each.

    What lengthens the path lets the transmission begin earlier, where a ramp has another
    frequency, and makes its interval shorter. An offset of the receiver's clock moves the
    whole count, that of the reference as well.

    Parameters
    ----------
    rate, uplink, turnaround, reference
        As for `doppler_shift`.
    names : iterable of str
        Those that it does not depend on are absent.
    """
    first, interval, _ = _sent(rate, uplink)
    sent = rate.link.transmitter.earth.tt(rate.begin.sent.epochs)
    last = uplink.at(sent.shift(interval))
    received = rate.link.receiver.earth.tt(rate.begin.received.epochs)
    standard = [(reference or uplink).at(e) for e in (received, received.shift(rate.count_time))]
    clock = f"station.{rate.link.receiver.station.name}.clock_offset"
    out = {}
    for name, (path, of_rate) in rate.partials_with_begin(names).items():
        earlier = 2.0 / SPEED_OF_LIGHT * path + (name == clock)
        shorter = 2.0 / SPEED_OF_LIGHT * of_rate * rate.count_time
        cycles = (first - last) * earlier - last * shorter
        if name == clock:
            cycles += standard[1] - standard[0]
        out[name] = float(turnaround) * cycles / rate.count_time
    return out


def range_units(
    computed: Computed, uplink: Ramps, band: str, modulus: float | None = None
) -> Array:
    """Range in units of the uplink's ranging signal, shape (n,).

    Parameters
    ----------
    computed : Computed
        Computed ranges.
    uplink : Ramps
        What the transmitting station sent.
    band : str
        Of the uplink.
    modulus : float, optional
        Length of the longest code in range units: the range is known modulo this.

    Raises
    ------
    InputError
        If the band has no range unit or the modulus is not positive.
    """
    if modulus is not None and not modulus > 0.0:
        raise InputError("a modulus is positive", field="modulus", found=modulus)
    interval = 2.0 * computed.value / SPEED_OF_LIGHT
    sent = computed.link.transmitter.earth.tt(computed.trip.sent.epochs)
    frequency, _, beyond = uplink.cycles(sent, interval)
    units = float(range_units_per_cycle(band)) * (frequency * interval + beyond)
    return units if modulus is None else np.mod(units, modulus)


def _sent(rate: RangeRate, uplink: Ramps) -> tuple[Array, Array, Array]:
    """Frequency, interval and further cycles of the transmission of what a count receives."""
    interval = rate.count_time * (1.0 - 2.0 * rate.value / SPEED_OF_LIGHT)
    # The place's own 2 microseconds of TDB - TT are nothing to a ramp.
    return uplink.cycles(rate.link.transmitter.earth.tt(rate.begin.sent.epochs), interval)
