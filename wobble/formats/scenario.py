"""Scenario files: a campaign described in TOML.

In: the path of a scenario. Out: a `Campaign`.

Tables of a scenario: ``campaign``, ``stations`` (a catalogue file) or ``station.NAME``,
``lander.NAME``, ``link``, ``schedule``, ``noise`` (an array), ``rotation`` (values other than
the body's), ``estimate``, ``editing``, ``truth``, ``data``. The demonstration campaign's
file is the commented example of all of them. Paths are relative to the scenario.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from astropy.time import Time

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import ScheduleRule
from wobble.earth.stations import HorizonMask, Station
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.editing import EditingRules
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.tracking_model import PassBiases
from wobble.formats.body_file import READY_MADE, read_body
from wobble.formats.toml_section import Section, read_toml
from wobble.link.network import Media, parameter_values
from wobble.noise.budget import Budget
from wobble.noise.contributions.registry import CONTRIBUTIONS
from wobble.planet.body import Body
from wobble.planet.lander import Antenna, Lander
from wobble.planet.parameter_units import unit_of

__all__ = ["read_catalogue", "read_scenario"]


def read_scenario(path: str | Path) -> Campaign:
    """Read a scenario file.

    Raises
    ------
    InputError
        With file, line and key of what is missing, unknown or wrong.
    """
    top = read_toml(path)
    head = top.section("campaign")
    body = _body(head, top)
    stations = _stations(top)
    landers = tuple(_lander(name, s, body) for name, s in top.section("lander").named_sections())
    if not landers:
        raise InputError("no lander", source=path, field="lander", expected="[lander.NAME]")
    data_files, model_error = _data(top.section("data", {}))
    media, frequency = _link(top.section("link", {}))
    budget = _budget(top)
    parameters, biases = _estimate(top.section("estimate", {}), body, stations, landers, media)
    campaign = Campaign(
        name=head.text("name"),
        source=Path(path),
        ephemeris=_path_or_name(head, "ephemeris", "de440", ("de440", "de421")),
        body=body,
        stations=stations,
        landers=landers,
        media=media,
        frequency=frequency,
        parameters=parameters,
        biases=biases,
        budget=budget,
        editing=_editing(top.section("editing", {})),
        span=_span(head),
        rule=_rule(top.section("schedule")) if "schedule" in top else None,
        sun_limit=top.section("schedule", {}).quantity("sun_limit", "rad", "0 deg"),
        seed=head.integer("seed", 1),
        truth=_truth(top.section("truth", {}), parameters),
        data_files=data_files,
        model_error=model_error,
    )
    head.finish()
    top.finish()
    return campaign


def read_catalogue(path: str | Path) -> tuple[Station, ...]:
    """Read a station catalogue: a TOML file of ``[station.NAME]`` tables.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    top = read_toml(path)
    stations = tuple(_station(name, s) for name, s in top.section("station").named_sections())
    top.finish()
    return stations


# ------------------------------------------------------------------------ parts


def _path_or_name(section: Section, key: str, default: str, names: tuple[str, ...]) -> str:
    text = section.text(key, default)
    return text if text in names else str(section.path.parent / text)


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
    body = read_body(_path_or_name(head, "body", name, READY_MADE))
    given = top.section("rotation", {})
    known = body.orientation.values
    for key in given:
        _require_known(given, key, known)
    return body.with_rotation({k: given.quantity(k, unit_of(k).si) for k in given})


def _require_known(section: Section, key: str, known: Any) -> None:
    if key not in known:
        raise UnknownNameError(
            "parameter",
            key,
            known,
            source=section.path,
            line=section.line(key),
            field=section.name,
        )


def _stations(top: Section) -> tuple[Station, ...]:
    section = top.section("stations", {})
    found: list[Station] = []
    if "catalogue" in section:
        catalogue = read_catalogue(section.path.parent / section.text("catalogue"))
        by_name = {s.name: s for s in catalogue}
        for name in section.texts("use", list(by_name)):
            if name not in by_name:
                raise UnknownNameError(
                    "station",
                    name,
                    by_name,
                    source=section.path,
                    line=section.line("use"),
                    field="stations.use",
                )
            found.append(by_name[name])
    section.finish()
    own = top.section("station", {})
    found += [_station(name, s) for name, s in own.named_sections()]
    if not found:
        raise InputError(
            "no station", source=top.path, field="stations", expected="a catalogue or [station.X]"
        )
    return tuple(found)


def _station(name: str, section: Section) -> Station:
    mask = (
        HorizonMask(
            section.quantities("mask_azimuth", "rad"), section.quantities("mask_elevation", "rad")
        )
        if "mask_azimuth" in section
        else HorizonMask.flat(section.quantity("mask", "rad", "6 deg"))
    )
    try:
        station = Station(
            name=name,
            position=np.array([section.quantity(axis, "m") for axis in "xyz"]),
            velocity=np.array(
                [section.quantity(f"velocity_{axis}", "m / s", "0 m / s") for axis in "xyz"]
            ),
            epoch=section.number("epoch", 2015.0),
            mask=mask,
            transmit_elevation=section.quantity("transmit_elevation", "rad", "10 deg"),
            delay=section.quantity("delay", "s", "0 s"),
        )
    except InputError as error:
        raise _at(section, error) from error
    section.finish()
    return station


def _at(section: Section, error: InputError) -> InputError:
    """The same complaint, with the file if it lacks one."""
    if error.source is not None:
        return error
    return InputError(
        error.problem,
        source=section.path,
        line=section.line(error.field.split(".")[-1]) if error.field else None,
        field=error.field or section.name,
        found=error.found,
        expected=error.expected,
    )


def _lander(name: str, section: Section, body: Body) -> Lander:
    others: dict[str, Any] = {
        "antennas": tuple(_antenna(s) for s in section.sections("antenna")),
        "transponder_delay": section.quantity("transponder_delay", "s", "0 s"),
        "minimum_elevation": section.quantity("minimum_elevation", "rad", "0 deg"),
    }
    if "latitude" in section:
        lander = Lander.geodetic(
            name,
            body,
            section.quantity("longitude", "rad"),
            section.quantity("latitude", "rad"),
            section.quantity("height", "m"),
            **others,
        )
    elif "axis_distance" in section:
        lander = Lander.cylindrical(
            name,
            section.quantity("axis_distance", "m"),
            section.quantity("longitude", "rad"),
            section.quantity("z", "m"),
            **others,
        )
    elif "x" in section:
        place = np.array([section.quantity(axis, "m") for axis in "xyz"])
        lander = Lander(name, place, **others)
    else:
        raise section.error(
            "x",
            "no coordinates",
            ", ".join(section.keys()) or "nothing",
            "x, y, z; or axis_distance, longitude, z; or longitude, latitude, height",
        )
    section.finish()
    radius = float(np.linalg.norm(lander.position))
    if not 0.9 * body.polar_radius < radius < 1.1 * body.equatorial_radius:
        raise InputError(
            f"the lander does not stand on {body.name}",
            source=section.path,
            line=section.line(name),
            field=section.name,
            found=f"{radius / 1e3:.3f} km from its centre",
            expected=f"near {body.equatorial_radius / 1e3:.1f} km",
        )
    return lander


def _antenna(section: Section) -> Antenna:
    antenna = Antenna(
        section.text("name"),
        section.quantity("azimuth", "rad"),
        section.quantity("elevation", "rad"),
        section.quantity("half_width", "rad"),
    )
    section.finish()
    return antenna


def _link(section: Section) -> tuple[Media, float]:
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
        raise _at(section, error) from error
    frequency = section.quantity("uplink_frequency", "Hz", "7.17 GHz")
    section.finish()
    return media, frequency


def _rule(section: Section) -> ScheduleRule:
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
        raise _at(section, error) from error
    section.finish()
    return rule


def _budget(top: Section) -> Budget | None:
    tables = []
    for section in top.sections("noise"):
        name = section.text("contribution")
        if name not in CONTRIBUTIONS:
            raise UnknownNameError(
                "noise contribution",
                name,
                CONTRIBUTIONS,
                source=section.path,
                line=section.line("contribution"),
                field=section.name,
            )
        table: dict[str, Any] = {
            "contribution": name,
            "enabled": section.flag("enabled", True),
        }
        for f in fields(CONTRIBUTIONS[name]):
            if f.name in section:
                unit = f.metadata.get("unit", "")
                table[f.name] = section.quantity(f.name, unit) if unit else section.number(f.name)
        section.finish()
        tables.append(table)
    return Budget.from_tables(tables, source=f"{top.path}: noise") if tables else None


def _estimate(
    section: Section,
    body: Body,
    stations: tuple[Station, ...],
    landers: tuple[Lander, ...],
    media: Media,
) -> tuple[ParameterSet, PassBiases]:
    values = parameter_values(body, stations, landers, media)
    values |= {f"station.{s.name}.range_bias": 0.0 for s in stations}
    parameters = ParameterSet(
        [
            Parameter(n, unit_of(n).user, v, status="fixed", source="scenario")
            for n, v in values.items()
        ]
    )
    sigmas = _sigmas(section.section("a_priori", {}), parameters)
    for name, sigma in sigmas.items():
        parameters = parameters.changed(name, sigma=sigma)
    for key, status in (("parameters", "estimated"), ("considered", "considered")):
        for pattern in section.texts(key, []):
            try:
                parameters = parameters.with_status(pattern, status)
            except InputError as error:
                raise _at_key(section, key, error) from error
    given = section.section("pass_biases", {})
    biases = PassBiases(
        range=given.quantity("range", "m") if "range" in given else None,
        range_rate=given.quantity("range_rate", "m / s") if "range_rate" in given else None,
    )
    given.finish()
    section.finish()
    return parameters, biases


def _at_key(section: Section, key: str, error: InputError) -> InputError:
    return InputError(
        error.problem,
        source=section.path,
        line=section.line(key),
        field=f"{section.name}.{key}",
        found=error.found,
        expected=error.expected,
    )


def _sigmas(section: Section, parameters: ParameterSet) -> dict[str, float]:
    """A priori standard deviations; a pattern stands for every name that it matches."""
    sigmas: dict[str, float] = {}
    for key in section:
        try:
            names = parameters.select(key)
        except InputError as error:
            raise _at_key(section, key, error) from error
        for name in names:
            unit = unit_of(name).si
            sigmas[name] = section.quantity(key, unit) if unit else section.number(key)
    return sigmas


def _editing(section: Section) -> EditingRules:
    default = EditingRules()
    try:
        rules = EditingRules(
            threshold=section.number("threshold", default.threshold),
            reweight=section.flag("reweight", default.reweight),
        )
    except InputError as error:
        raise _at(section, error) from error
    section.finish()
    return rules


def _truth(section: Section, parameters: ParameterSet) -> dict[str, float]:
    truth = {}
    for key in section:
        _require_known(section, key, parameters.names)
        unit = unit_of(key).si
        truth[key] = section.quantity(key, unit) if unit else section.number(key)
    section.finish()
    return truth


def _data(section: Section) -> tuple[tuple[Path, ...], dict[str, float]]:
    names = section.texts("files", [])
    given = section.section("model_error", {})
    units = {"range": "m", "range_rate": "m / s"}
    errors = {kind: given.quantity(kind, unit) for kind, unit in units.items() if kind in given}
    given.finish()
    section.finish()
    return tuple(section.path.parent / name for name in names), errors
