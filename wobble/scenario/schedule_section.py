"""How passes are chosen, in a scenario.

In: the section ``schedule``. Out: a `ScheduleRule`, and the limits of the view (`ViewLimits`).
"""

from __future__ import annotations

from collections.abc import Iterable

from wobble.campaign.conditions import ViewLimits
from wobble.campaign.schedule import ScheduleRule
from wobble.earth.stations import Station
from wobble.errors import InputError, UnknownNameError
from wobble.text.toml_section import Section

__all__ = ["read_rule", "read_view_limits"]

VIEW_KEYS = ("sun_limit", "sun_probe_limit", "three_way")


def read_rule(section: Section) -> ScheduleRule:
    for key in VIEW_KEYS:
        section.ask(key)
    handover = section.quantities("handover", "s", ["0 s", "0 s"])
    if handover.shape != (2,):
        raise section.error("handover", "is no pair", len(handover), '["5 min", "15 min"]')
    try:
        rule = ScheduleRule(
            passes_per_week=section.integer("passes_per_week"),
            pass_length=section.quantity("pass_length", "s"),
            count_time=section.quantity("count_time", "s", "60 s"),
            range_interval=section.quantity("range_interval", "s", "5 min"),
            rest=section.quantity("rest", "s", "1 d"),
            prefer=section.text("prefer", "highest"),
            alternate=tuple(section.texts("alternate", ["antenna", "station"])),
            link=section.text("link", "two_way"),
            handover=(float(handover[0]), float(handover[1])),
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return rule


def read_view_limits(section: Section, stations: Iterable[Station]) -> ViewLimits:
    """Angles at the Sun and three-way pairs, which stand beside the rule."""
    return ViewLimits(
        sun_earth_probe=section.quantity("sun_limit", "rad", "0 deg"),
        sun_probe_earth=section.quantity("sun_probe_limit", "rad", "0 deg"),
        three_way=tuple(_pairs(section, [station.name for station in stations])),
    )


def _pairs(section: Section, names: list[str]) -> Iterable[tuple[str, str]]:
    for pair in section.lists("three_way", []):
        if len(pair) != 2 or pair[0] == pair[1]:
            raise section.error(
                "three_way", "is no pair of stations", pair, '[["transmitter", "receiver"]]'
            )
        for name in pair:
            if name not in names:
                line = section.line("three_way")
                raise UnknownNameError(
                    "station", name, names, source=section.path, line=line, field="three_way"
                )
        yield pair[0], pair[1]
