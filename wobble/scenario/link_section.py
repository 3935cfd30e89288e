"""What the signal is and what it passes through, in a scenario.

In: the section ``link``. Out: `Media`, and the frequency of the uplink, Hz.

The ratio of the lander's two frequencies follows from ``uplink_band`` and ``downlink_band``
(`wobble.link.bands`) or stands there itself, ``turnaround = "880/749"``; with neither it is that
of X band.
"""

from __future__ import annotations

from wobble.errors import InputError
from wobble.link.bands import band_of, turnaround_ratio
from wobble.link.media import LARGEST_CONTENT, LARGEST_CORONA, Media
from wobble.text.toml_section import Section

__all__ = ["read_link"]

BANDS = ("uplink_band", "downlink_band")


def read_link(section: Section) -> tuple[Media, float]:
    frequency = _frequency(section)
    try:
        media = Media(
            gravity=tuple(section.texts("gravity", ["sun", "earth"])),
            troposphere=section.text("troposphere", "radio"),
            ionosphere_content=section.quantity("ionosphere_content", "1 / m2", "0 1/m2"),
            corona_scale=section.number("corona_scale", 0.0),
            turnaround=_turnaround(section),
        )
    except InputError as error:
        raise section.located(error) from error
    for key, value, largest in (
        ("ionosphere_content", media.ionosphere_content, LARGEST_CONTENT),
        ("corona_scale", media.corona_scale, LARGEST_CORONA),
    ):
        if not 0.0 <= value <= largest:
            raise section.error(key, "is out of its physical range", value, f"0 to {largest:g}")
    section.finish()
    return media, frequency


def _frequency(section: Section) -> float:
    """Of the uplink, Hz; it lies in the band that is named."""
    band = section.text("uplink_band", "X")
    if band != "X" and "uplink_frequency" not in section:
        raise section.error(
            "uplink_frequency", "a key is missing", None, f"a frequency in {band} band"
        )
    frequency = section.quantity("uplink_frequency", "Hz", "7.17 GHz")
    if "uplink_band" in section:
        try:
            found = band_of(frequency)
        except InputError as error:
            raise section.located(error, "uplink_frequency") from error
        if found != band:
            raise section.error(
                "uplink_frequency", "lies in another band", found, f"the uplink band, {band}"
            )
    return frequency


def _turnaround(section: Section) -> float:
    named = [key for key in BANDS if key in section]
    if not named:
        return _ratio(section)
    if "turnaround" in section:
        raise section.error(
            "turnaround", "stands beside bands, which have their own", "both", "one of the two"
        )
    if len(named) < len(BANDS):
        missing = next(key for key in BANDS if key not in section)
        raise section.error(missing, "a key is missing", f"the key {named[0]}", "both bands")
    up, down = (section.text(key) for key in BANDS)
    try:
        return float(turnaround_ratio(up, down))
    except InputError as error:
        raise section.located(error, "uplink_band") from error


def _ratio(section: Section) -> float:
    ratio = section.text("turnaround", "880/749")
    try:
        above, below = (int(part) for part in ratio.split("/"))
        turnaround = above / below
    except (ValueError, ZeroDivisionError) as error:
        raise section.error("turnaround", "is no ratio", ratio, '"880/749"') from error
    if not turnaround > 0:
        raise section.error("turnaround", "is not positive", ratio, '"880/749"')
    return turnaround
