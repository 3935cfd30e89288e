"""The sections of a report that do not need a solution.

In: a campaign, its schedule, its measurements. Out: sections with their tables: set-up,
schedule, noise budget, cautions, provenance.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from wobble import __version__
from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.shortfall import Shortfall
from wobble.campaign.visibility import ViewPeriods
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.estimation.solution import Solution
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.noise.budget_table import LinkConditions, budget_table, parameter_table
from wobble.report.content import Section, Table
from wobble.report.summary import body_name
from wobble.report.text import fixed, sized, utc

__all__ = [
    "budget_section",
    "cautions_section",
    "pole_section",
    "provenance_section",
    "schedule_section",
    "setup_section",
]

FOLDED_FROM = 20
CAUTIONS = (
    "A schedule is a proposal. Whether a pass can be held, the stations, the spectrum licences and "
    "the lander's own flight rules decide.",
    "The lowest elevation at which a station may transmit, and every other limit of radiation "
    "safety, is the station's own authority's. The limits here replace no local rule.",
)


def setup_section(campaign: Campaign) -> Section:
    """Stations, landers, and what the model of the link contains."""
    stations = []
    for station in campaign.stations:
        longitude, latitude, height = station.geodetic
        stations.append(
            (
                station.name,
                fixed(np.degrees(latitude), 4),
                fixed(np.degrees(longitude), 4),
                fixed(height, 0),
                f"{np.degrees(station.mask.elevation.max()):.1f}",
                f"{np.degrees(station.transmit_elevation):.1f}",
            )
        )
    landers = []
    for lander in campaign.landers:
        longitude, latitude, height = campaign.body.geodetic(lander.position)
        looks = "; ".join(
            f"{a.name}: azimuth {np.degrees(a.azimuth):.0f}, elevation "
            f"{np.degrees(a.elevation):.0f}, {a.width_in_words}"
            for a in lander.antennas
        )
        landers.append(
            (
                lander.name,
                fixed(np.degrees(latitude), 4),
                fixed(np.degrees(longitude), 4),
                fixed(height, 0),
                looks or "sees everything over its horizon",
            )
        )
    place = ("latitude (deg)", "east longitude (deg)", "height (m)")
    return Section(
        "setup",
        "Set-up",
        text=[_media(campaign)],
        tables=[
            Table(
                "Stations",
                ("station", *place, "mask (deg)", "transmit from (deg)"),
                stations,
                (1, 2, 3, 4, 5),
            ),
            Table(
                f"Landers on {body_name(campaign)}",
                ("lander", *place, "antennas (angles in deg)"),
                landers,
                (1, 2, 3),
            ),
        ],
    )


def _media(campaign: Campaign) -> str:
    media = campaign.media
    parts = [f"gravitational delay of {', '.join(media.gravity).title()}"] if media.gravity else []
    if media.troposphere != "none":
        parts.append(f"{media.troposphere} troposphere")
    if media.ionosphere_content:
        parts.append(f"ionosphere of {media.ionosphere_content / 1e16:.3g} TECU at the zenith")
    if media.corona_scale:
        parts.append(f"solar corona times {media.corona_scale:.3g}")
    return f"In the link: {'; '.join(parts) or 'nothing but geometry'}."


def schedule_section(periods: ViewPeriods | None, passes: Passes | None) -> Section:
    """View periods of each station, and the passes."""
    tables = []
    if periods is not None and len(periods):
        tables.append(_view_table(periods))
    if passes is not None and len(passes):
        if passes.shortfall and passes.shortfall.gaps:
            tables.append(_gap_table(passes.shortfall))
        tables.append(_pass_table(passes))
    return Section("schedule", "Schedule and coverage", tables=tables)


def _gap_table(shortfall: Shortfall) -> Table:
    rows = [
        (
            shortfall.date(gap.start),
            shortfall.date(gap.stop),
            f"{gap.days:.0f}",
            gap.cause,
            str(gap.opened_days),
        )
        for gap in shortfall.gaps
    ]
    head = ("from", "to", "days", "cause", "days with a pass without it")
    return Table("Longest times without a pass", head, rows, (2, 4))


def _view_table(periods: ViewPeriods) -> Table:
    rows = []
    names = np.stack([periods.station, periods.transmitter, periods.lander, periods.antenna])
    for station, sender, lander, antenna in np.unique(names, axis=1).T:
        chosen = (names == np.array([[station], [sender], [lander], [antenna]])).all(axis=0)
        duration = periods.duration[chosen]
        rows.append(
            (
                str(station) if sender == station else f"{station}, {sender} transmitting",
                str(lander),
                str(antenna) or "any",
                str(chosen.sum()),
                f"{duration.sum() / 3600.0:.1f}",
                f"{np.median(duration) / 60.0:.0f}",
                f"{duration.max() / 60.0:.0f}",
            )
        )
    head = (
        *("station", "lander", "antenna", "view periods", "hours in all"),
        *("median (min)", "longest (min)"),
    )
    return Table("View periods", head, rows, (3, 4, 5, 6))


def _pass_table(passes: Passes) -> Table:
    minutes = (passes.stop - passes.start).to_value("min")
    rows = [
        (
            str(passes.pass_id[k]),
            str(passes.station[k]),
            str(passes.lander[k]),
            str(passes.antenna[k]) or "any",
            utc(passes.start[k]),
            f"{minutes[k]:.0f}",
        )
        for k in range(len(passes))
    ]
    head = ("pass", "station", "lander", "antenna", "begin (UTC)", "minutes")
    return Table("Passes", head, rows, (5,), folded=len(rows) > FOLDED_FROM)


def budget_section(campaign: Campaign, conditions: LinkConditions) -> Section:
    """What each contribution adds to the noise."""
    section = Section("budget", "Noise budget")
    if campaign.budget is None:
        return section
    rows = [
        (
            row.name.replace("_", " "),
            sized(1e3 * row.range_rate),
            sized(row.range),
            sized(row.allan_60),
            sized(row.allan_1000),
            f"{100.0 * row.share:.0f} %",
        )
        for row in budget_table(campaign.budget, conditions)
    ]
    section.text.append(
        f"At a distance of {conditions.distance / ASTRONOMICAL_UNIT:.3g} au, "
        f"{np.degrees(conditions.sun_angle):.0f} degrees from the Sun and "
        f"{np.degrees(conditions.elevation):.0f} degrees of elevation, for range rates counted "
        f"over {conditions.count_time:.4g} s; all figures are one standard deviation."
    )
    head = (
        *("contribution", "range rate (mm/s)", "range (m)"),
        *("Allan 60 s", "Allan 1000 s", "share of variance"),
    )
    section.tables.append(Table("Contributions", head, rows, (1, 2, 3, 4, 5)))
    section.tables.append(_noise_parameters(campaign.budget))
    return section


def _noise_parameters(budget: Budget) -> Table:
    """What each contribution was computed with, and whether the scenario says so."""
    rows = [
        (row.contribution.replace("_", " "), row.name, row.text, row.source, row.meaning)
        for row in parameter_table(budget)
    ]
    return Table(
        "Parameters of the contributions",
        ("contribution", "parameter", "value", "stated or default", "meaning"),
        rows,
        (2,),
        folded=len(rows) > FOLDED_FROM,
    )


def pole_section(campaign: Campaign) -> Section:
    """Holds the figure of the pole's path."""
    return Section("pole", f"Pole of {body_name(campaign)}")


def cautions_section(
    campaign: Campaign, periods: ViewPeriods | None, provenance: Mapping[str, Any]
) -> Section:
    """What must not be forgotten when the numbers are used."""
    points = list(CAUTIONS)
    notes = [*(periods.notes if periods is not None else ())]
    notes.append(str(provenance.get("earth_orientation_note", "")))
    # The note of the plan and that of the fit differ by the last metre: one of them is enough.
    points += [f"{note}." for note in {note.split(",")[0]: note for note in notes if note}.values()]
    if campaign.budget is not None and campaign.budget.is_white:
        points.append(
            "The noise budget is white: a sum over many samples averages as real noise, with its "
            "long correlations, does not."
        )
    return Section("cautions", "Cautions", points=points)


def provenance_section(
    campaign: Campaign, provenance: Mapping[str, Any], tracking: Tracking | None
) -> Section:
    """What made the numbers."""
    facts: dict[str, str] = {
        "campaign": campaign.name,
        "scenario": campaign.source.name,
        "package version": f"wobble {provenance.get('wobble', __version__)}",
        "ephemeris": str(provenance.get("ephemeris", campaign.ephemeris)),
    }
    for key in ("earth_orientation", "earth_orientation_note", "weights", "date"):
        if provenance.get(key):
            facts[key.replace("_", " ").replace("earth", "Earth")] = str(provenance[key])
    meta = {} if tracking is None else tracking.meta
    facts["seed"] = str(meta.get("seed", campaign.seed))
    if campaign.data_files:
        facts["data files"] = ", ".join(path.name for path in campaign.data_files)
    if tracking is not None:
        facts |= {f"data: {heading}": text for heading, text in tracking.summary()}
    return Section(
        "provenance",
        "Provenance",
        tables=[Table("What made these numbers", ("", ""), list(facts.items()))],
    )


def provenance_of(
    campaign: Campaign, solution: Solution | None, tracking: Tracking | None
) -> dict[str, Any]:
    """What made the last step that was done."""
    if solution is not None:
        return dict(solution.provenance)
    if tracking is not None and "wobble" in tracking.meta:
        return dict(tracking.meta)
    return campaign.provenance(campaign.plan_network) if campaign.span else {}
