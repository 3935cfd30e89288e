"""How passes are chosen, in a scenario.

In: the section ``schedule``. Out: a `ScheduleRule`.
"""

from __future__ import annotations

from wobble.campaign.schedule import ScheduleRule
from wobble.errors import InputError
from wobble.formats.toml_section import Section

__all__ = ["read_rule"]


def read_rule(section: Section) -> ScheduleRule:
    section.quantity("sun_limit", "rad", "0 deg")
    try:
        rule = ScheduleRule(
            passes_per_week=section.integer("passes_per_week"),
            pass_length=section.quantity("pass_length", "s"),
            count_time=section.quantity("count_time", "s", "60 s"),
            range_interval=section.quantity("range_interval", "s", "5 min"),
            rest=section.quantity("rest", "s", "1 d"),
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return rule
