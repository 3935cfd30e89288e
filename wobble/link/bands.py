"""Radio bands and the ratios between a coherent transponder's two frequencies.

In: names of bands, "S", "X", "Ka". Out: the turnaround ratio as an exact fraction, the range
unit, the band of a frequency.

Ratios of CCSDS 401.0-B (Radio frequency and modulation systems) for deep-space links; a
second ratio from X to Ka band, 3360/749, is in use. One range unit is the interval in which
``C`` cycles of the uplink pass: C = 1/2 in S band, 221/1498 in X band (common practice of
deep-space networks, no source), 0.95 ns in both.
"""

from __future__ import annotations

from fractions import Fraction

from wobble.errors import InputError, UnknownNameError

__all__ = ["TURNAROUND", "band_of", "range_units_per_cycle", "turnaround_ratio"]

TURNAROUND: dict[tuple[str, str], Fraction] = {
    ("S", "S"): Fraction(240, 221),
    ("S", "X"): Fraction(880, 221),
    ("X", "S"): Fraction(240, 749),
    ("X", "X"): Fraction(880, 749),
    ("X", "Ka"): Fraction(3344, 749),
    ("Ka", "X"): Fraction(880, 3599),
    ("Ka", "Ka"): Fraction(3360, 3599),
}
"""Downlink over uplink frequency, by the bands of uplink and downlink."""

# Limits of the deep-space and near-Earth allocations, both directions, Hz.
LIMITS = {"S": (2.025e9, 2.3e9), "X": (7.145e9, 8.5e9), "Ka": (25.5e9, 34.7e9)}
RANGE_UNITS = {"S": Fraction(1, 2), "X": Fraction(221, 1498)}


def turnaround_ratio(uplink: str, downlink: str) -> Fraction:
    """Ratio of the frequency sent back to the one received, by bands.

    Raises
    ------
    UnknownNameError
        If there is no such band.
    InputError
        If there is no coherent ratio between the two.
    """
    for band in (uplink, downlink):
        if band not in LIMITS:
            raise UnknownNameError("band", band, LIMITS)
    if (uplink, downlink) not in TURNAROUND:
        raise InputError(
            "no turnaround ratio between these bands",
            found=f"{uplink} to {downlink}",
            expected=", ".join(f"{up} to {down}" for up, down in TURNAROUND),
        )
    return TURNAROUND[uplink, downlink]


def band_of(frequency: float) -> str:
    """Name of the band in which a frequency (Hz) lies.

    Raises
    ------
    InputError
        If it lies in none.
    """
    for band, (low, high) in LIMITS.items():
        if low <= frequency <= high:
            return band
    raise InputError(
        "the frequency lies in no band of a transponder",
        found=f"{frequency / 1e9:.6f} GHz",
        expected=", ".join(
            f"{b}: {low / 1e9} to {high / 1e9} GHz" for b, (low, high) in LIMITS.items()
        ),
    )


def range_units_per_cycle(band: str) -> Fraction:
    """Range units in a cycle of the uplink.

    Raises
    ------
    InputError
        If the band has no range unit.
    """
    if band not in RANGE_UNITS:
        raise InputError(
            "no range unit is defined for an uplink in this band",
            found=band,
            expected=" or ".join(RANGE_UNITS),
        )
    return RANGE_UNITS[band]
