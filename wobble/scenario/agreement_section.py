"""The agreement of a scenario: what its Tracking Data Messages do not say.

In: the table ``data.agreement``, and the scenario's stations and landers. Out: `Agreement`.

The stations and landers of the scenario are known by their own names; tables ``stations`` and
``landers`` give the names that they have in the files where those differ. The frequencies of
one-way data are those of the landers' oscillators. Everything else has no default: what is
needed and not given is asked for when a file needs it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from wobble.errors import InputError, UnknownNameError
from wobble.planet.lander import Lander
from wobble.tdm.agreement import Agreement
from wobble.text.toml_section import Section

__all__ = ["EXAMPLE", "read_agreement"]

EXAMPLE = (
    'a table [data.agreement] in the scenario, with range_sigma = "1 m", '
    'range_rate_sigma = "0.05 mm/s", one_way_range_rate_sigma = "0.1 mm/s", '
    'two_way_range = "half" or "whole", two_way_doppler = "half" or "whole", '
    "and tables stations and landers with the files' names for them"
)
"""What to write into a scenario that has no agreement."""

# Key in the table, field of the agreement, unit.
QUANTITIES = (
    ("range_sigma", "range_sigma", "m"),
    ("range_rate_sigma", "range_rate_sigma", "m / s"),
    ("one_way_range_rate_sigma", "one_way_range_rate_sigma", "m / s"),
    ("range_unit", "range_unit_seconds", "s"),
    ("uplink_frequency", "uplink_frequency", "Hz"),
)
CHOICES = ("two_way_range", "two_way_doppler", "delays", "range_epoch")
OTHERS = ("range_units_per_cycle", "simulated", "stations", "landers", "metadata")


def read_agreement(
    section: Section, stations: Iterable[str], landers: Iterable[Lander]
) -> Agreement:
    """The agreement about files of tracking data.

    Parameters
    ----------
    section : Section
        The table ``data.agreement``.
    stations : iterable of str
        Their names in the scenario.
    landers : iterable of Lander

    Raises
    ------
    InputError
        If a name or key is unknown, or a value is not allowed.
    """
    known = [key for key, _, _ in QUANTITIES] + [*CHOICES, *OTHERS]
    for key in section:
        if key not in known:
            raise UnknownNameError(
                "key", key, known, source=section.path, line=section.line(key), field=section.name
            )
    given: dict[str, Any] = {
        name: section.quantity(key, unit) for key, name, unit in QUANTITIES if key in section
    }
    given |= {key: section.text(key) for key in CHOICES if key in section}
    if "range_units_per_cycle" in section:
        given["range_units_per_cycle"] = section.number("range_units_per_cycle")
    if "simulated" in section:
        given["simulated"] = section.flag("simulated")
    metadata = section.section("metadata", {})
    given["metadata"] = {key: metadata.text(key) for key in metadata}
    given["stations"] = _names(section.section("stations", {}), "station", stations)
    sending = {lander.name: lander.oscillator for lander in landers}
    given["landers"] = _names(section.section("landers", {}), "lander", sending)
    given["oscillators"] = {name: own.frequency for name, own in sending.items() if own}
    try:
        agreement = Agreement(**given)
    except InputError as error:
        raise section.located(error) from error
    return agreement


def _names(section: Section, kind: str, known: Iterable[str]) -> dict[str, str]:
    """Names in the files and the scenario's names; those given come first."""
    own = list(known)
    names = {key: section.text(key) for key in section}
    for in_file, name in names.items():
        if name not in own:
            raise UnknownNameError(
                kind,
                name,
                own,
                source=section.path,
                line=section.line(in_file),
                field=f"{section.name}.{in_file}",
            )
    return names | {name: name for name in own if name not in names}
