"""Scenario files: a campaign described in TOML.

In: the path of a scenario. Out: a `Campaign`.

Tables of a scenario: ``campaign``, ``stations`` (a catalogue or a terrestrial frame) or
``station.NAME``, ``calendar.NAME``, ``lander.NAME``, ``link``, ``weather``, ``media``,
``schedule``, ``noise`` (an array), ``rotation`` (values other than the body's), ``estimate``,
``target``, ``editing``, ``truth``, ``data``. The demonstration campaign's file is the commented
example of most of them; what an ``estimate`` may know beforehand stands in
`wobble.scenario.known_sections`. Paths are relative to the scenario.
"""

from __future__ import annotations

from pathlib import Path

from astropy.time import Time

from wobble.campaign.campaign import Campaign
from wobble.earth.orientation import OrientationTable
from wobble.earth.stations import Station
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import READY_MADE, read_body
from wobble.files.earth_orientation import read_earth_orientation
from wobble.link.media import Media
from wobble.planet.body import Body
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import TabulatedLibration
from wobble.scenario.calendar_sections import with_calendars
from wobble.scenario.data_section import read_data
from wobble.scenario.estimate_section import read_editing, read_estimate, read_truth
from wobble.scenario.lander_sections import read_lander
from wobble.scenario.link_section import read_link
from wobble.scenario.noise_sections import read_budget
from wobble.scenario.schedule_section import read_rule, read_view_limits
from wobble.scenario.series_sections import read_media, read_weather, series_warnings
from wobble.scenario.station_sections import (
    known_station_names,
    read_stations,
    without_ocean_loading,
)
from wobble.scenario.target_section import read_targets
from wobble.text.toml_section import Section, read_toml

__all__ = ["campaign_of", "read_scenario"]


TABLES = (
    *("campaign", "stations", "station", "calendar", "lander", "link", "weather", "media"),
    *("schedule", "noise", "rotation", "estimate", "target", "editing", "truth", "data"),
)


def read_scenario(path: str | Path) -> Campaign:
    """Read a scenario file.

    Raises
    ------
    InputError
        With file, line and key of what is missing, unknown or wrong.
    """
    return campaign_of(read_toml(path))


def campaign_of(top: Section) -> Campaign:
    """The campaign that the tables of a scenario describe.

    Raises
    ------
    InputError
        As `read_scenario`.
    """
    path = top.path
    top.require_keys(TABLES)
    head = top.section("campaign")
    body = _body(head, top)
    span = _span(head)
    stations = with_calendars(read_stations(top, span), top.section("calendar", {}))
    landers = tuple(
        read_lander(name, s, body) for name, s in top.section("lander").named_sections()
    )
    if not landers:
        raise InputError("no lander", source=path, field="lander", expected="[lander.NAME]")
    data = read_data(
        top.section("data", {}),
        known_station_names(top, stations),
        landers,
    )
    media, frequency = read_link(top.section("link", {}))
    agreement = data.agreement
    in_messages = agreement.stations if agreement else {s.name: s.name for s in stations}
    weather, measured = read_weather(top, in_messages), read_media(top, in_messages)
    media = media.with_series(weather, measured)
    budget = read_budget(top)
    parameters, biases = read_estimate(
        top.section("estimate", {}),
        body,
        stations,
        landers,
        media,
        own_rotation=set(top.section("rotation", {})),
    )
    editing, limits = read_editing(top.section("editing", {}), weather)
    own = "de421" if isinstance(body.orientation, TabulatedLibration) else ""
    ephemeris = _path_or_name(head, "ephemeris", own or "de440", ("de440", "de421"))
    campaign = Campaign(
        name=head.text("name"),
        source=path,
        ephemeris=ephemeris,
        body=body,
        stations=stations,
        landers=landers,
        media=media,
        frequency=frequency,
        parameters=parameters,
        biases=biases,
        budget=budget,
        editing=editing,
        span=span,
        rule=read_rule(top.section("schedule")) if "schedule" in top else None,
        view_limits=read_view_limits(top.section("schedule", {}), stations),
        seed=head.integer("seed", 1),
        truth=read_truth(top.section("truth", {}), parameters),
        data_files=data.files,
        tables=data.tables,
        agreement=agreement,
        target=read_targets(top.section("target", {}), parameters),
        model_error=data.model_error,
        orientation_table=_earth_orientation(head),
        limits=limits,
        warnings=(*_warnings(top, stations, media), *_mixed(ephemeris, own)),
    )
    head.finish()
    return campaign


def _path_or_name(section: Section, key: str, default: str, names: tuple[str, ...]) -> str:
    text = section.text(key, default)
    return text if text in names else str(section.path.parent / text)


def _earth_orientation(head: Section) -> OrientationTable | None:
    """The table that the scenario names; None for the packaged one."""
    if "earth_orientation" not in head:
        return None
    return read_earth_orientation(head.file("earth_orientation"))


def _mixed(ephemeris: str, of_librations: str) -> list[str]:
    """A word on an orbit and an orientation that do not belong together."""
    if of_librations in ("", ephemeris):
        return []
    return [
        f"the orbit is that of {Path(ephemeris).name.upper()}, the librations are those of "
        f"{of_librations.upper()}: axes and reference points of two fits differ by decimetres on "
        f'the Moon; ephemeris = "{of_librations}" takes both from one'
    ]


def _warnings(top: Section, stations: tuple[Station, ...], media: Media) -> list[str]:
    """What the files that the scenario names leave open."""
    loaded = "ocean_loading" in top.section("stations", {})
    return [
        *(without_ocean_loading(stations) if loaded else []),
        *series_warnings(stations, media.weather, media.measured),
    ]


def _span(head: Section) -> tuple[Time, Time] | None:
    if "start" not in head and "stop" not in head:
        return None
    start, stop = head.epoch("start"), head.epoch("stop")
    if not stop > start:
        raise head.error("stop", "lies before the start", stop.isot, f"after {start.isot}")
    return start, stop


def _body(head: Section, top: Section) -> Body:
    name = head.text("body")
    if name not in READY_MADE and not name.endswith(".toml"):
        raise UnknownNameError(
            "body",
            name,
            [*READY_MADE, "a body file NAME.toml"],
            source=head.path,
            line=head.line("body"),
            field="campaign.body",
        )
    body = read_body(name if name in READY_MADE else str(head.file("body")))
    given = top.section("rotation", {})
    known = body.orientation.values
    for key in given:
        given.require_known(key, known)
    units = {key: unit_of(key) for key in given}
    # As in a body file, a number without dimension is a string, too.
    return body.with_rotation({k: given.quantity(k, u.si, user=u.user) for k, u in units.items()})
