"""What the signal is and what it passes through, in a scenario.

In: the section ``link``. Out: `Media`, and the frequency of the uplink, Hz.
"""

from __future__ import annotations

from wobble.errors import InputError
from wobble.formats.toml_section import Section
from wobble.link.network import Media

__all__ = ["read_link"]


def read_link(section: Section) -> tuple[Media, float]:
    ratio = section.text("turnaround", "880/749")
    try:
        above, below = (int(part) for part in ratio.split("/"))
        turnaround = above / below
    except (ValueError, ZeroDivisionError) as error:
        raise section.error("turnaround", "is no ratio", ratio, '"880/749"') from error
    try:
        media = Media(
            gravity=tuple(section.texts("gravity", ["sun", "earth"])),
            troposphere=section.text("troposphere", "radio"),
            ionosphere_content=section.quantity("ionosphere_content", "1 / m2", "0 1/m2"),
            corona_scale=section.number("corona_scale", 0.0),
            turnaround=turnaround,
        )
    except InputError as error:
        raise section.located(error) from error
    frequency = section.quantity("uplink_frequency", "Hz", "7.17 GHz")
    section.finish()
    return media, frequency
