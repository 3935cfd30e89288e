"""What is estimated, considered, edited, and what a rehearsal takes for true.

In: the sections ``estimate``, ``editing`` and ``truth`` of a scenario. Out: a `ParameterSet` of all
parameters of the model, the biases of each pass, `EditingRules` and `SampleLimits`, and the
truth's steps, SI.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace

import numpy as np

from wobble.earth.series import WeatherSeries
from wobble.earth.stations import Station
from wobble.errors import InputError
from wobble.estimation.default_knowledge import default_knowledge
from wobble.estimation.editing import EditingRules
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.sample_limits import SampleLimits
from wobble.estimation.tracking_model import PassBiases
from wobble.link.media import Media
from wobble.link.parameter_values import parameter_values
from wobble.measurements.kinds import KINDS
from wobble.planet.body import Body
from wobble.planet.lander import Lander
from wobble.planet.parameter_units import unit_of
from wobble.scenario.known_sections import read_constraint, read_published
from wobble.scenario.parameter_value import parameter_value
from wobble.text.toml_section import Section

__all__ = ["read_editing", "read_estimate", "read_truth"]

KEYS = ("parameters", "considered", "a_priori", "published", "constraint", "pass_biases")
NOTHING = "none"
"""In the place of a standard deviation: nothing is known beforehand, not even by default."""


def read_estimate(
    section: Section,
    body: Body,
    stations: tuple[Station, ...],
    landers: tuple[Lander, ...],
    media: Media,
    own_rotation: Set[str] = frozenset(),
) -> tuple[ParameterSet, PassBiases]:
    section.require_keys(KEYS)
    values = parameter_values(body, stations, landers, media)
    of_body = set(body.orientation.values) - own_rotation
    parameters = ParameterSet(
        Parameter(
            name,
            unit_of(name).user,
            value,
            status="fixed",
            source=body.source if name in of_body else "scenario",
        )
        for name, value in values.items()
    )
    parameters = _with_sigmas(section, parameters)
    for key, status in (("parameters", "estimated"), ("considered", "considered")):
        for pattern in section.texts(key, []):
            try:
                parameters = parameters.with_status(pattern, status)
            except InputError as error:
                raise section.located(error, key) from error
    parameters = parameters.with_apriori(
        *(read_published(table, parameters) for table in section.sections("published"))
    ).with_conditions(
        *(read_constraint(table, parameters) for table in section.sections("constraint"))
    )
    given = section.section("pass_biases", {})
    biases = PassBiases(
        **{name: given.quantity(name, kind.si) for name, kind in KINDS.items() if name in given}
    )
    given.finish()
    return parameters, biases


def _with_sigmas(section: Section, parameters: ParameterSet) -> ParameterSet:
    """A priori standard deviations, of the scenario or by default."""
    given = _sigmas(section.section("a_priori", {}), parameters)
    elsewhere = {
        name for table in section.sections("published") for name in table.section("sigmas")
    }
    known = []
    for parameter in parameters:
        default = default_knowledge(parameter.name)
        if parameter.name in given:
            sigma = given[parameter.name]
            source = "scenario" if np.isfinite(sigma) else ""
            parameter = replace(parameter, sigma=sigma, sigma_source=source)
        elif default and parameter.name not in elsewhere:
            parameter = replace(parameter, sigma=default.sigma, sigma_source=default.source)
        known.append(parameter)
    return ParameterSet(known)


def _sigmas(section: Section, parameters: ParameterSet) -> dict[str, float]:
    """A priori standard deviations; a pattern stands for every name that it matches."""
    sigmas: dict[str, float] = {}
    for key in section:
        try:
            names = parameters.select(key)
        except InputError as error:
            raise section.located(error, key) from error
        nothing = section.content().get(key) == NOTHING
        for name in names:
            sigmas[name] = np.inf if nothing else parameter_value(section, key, unit_of(name))
    return sigmas


def read_editing(
    section: Section, weather: WeatherSeries | None
) -> tuple[EditingRules, SampleLimits]:
    default = EditingRules()
    try:
        rules = EditingRules(
            threshold=section.number("threshold", default.threshold),
            reweight=section.flag("reweight", default.reweight),
            group=section.text("group", default.group),
            range_ambiguity=section.quantity("range_ambiguity", "m")
            if "range_ambiguity" in section
            else default.range_ambiguity,
        )
    except InputError as error:
        raise section.located(error) from error
    limits = SampleLimits(
        maximum_wind=_weather_limit(section, "maximum_wind", "m / s", "wind_m_s", weather),
        maximum_rain=_weather_limit(section, "maximum_rain", "mm / h", "rain_mm_h", weather),
        minimum_elevation=section.quantity("minimum_elevation", "rad", "-90 deg"),
    )
    section.finish()
    return rules, limits


def _weather_limit(
    section: Section, key: str, unit: str, quantity: str, weather: WeatherSeries | None
) -> float | None:
    """A limit, for which there must be something to be limited."""
    if key not in section:
        return None
    limit = section.quantity(key, unit)
    if not limit > 0:
        raise section.error(key, "is not positive", limit, f"a number of {unit}")
    if weather is None or not weather.has(quantity):
        raise section.error(
            key,
            "limits what no weather table has",
            section.text(key),
            "a column in [weather] files",
        )
    return limit


def read_truth(section: Section, parameters: ParameterSet) -> dict[str, float]:
    truth = {}
    for key in section:
        section.require_known(key, parameters.names)
        truth[key] = parameter_value(section, key)
    section.finish()
    return truth
