"""A short rehearsal with invented stations, run once for all tests of the report."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.estimation.solution import Solution
from wobble.measurements.tracking import Tracking
from wobble.report.content import ReportFigure
from wobble.report.figures import report_figures
from wobble.scenario.reader import read_scenario

mpl.use("Agg")

SCENARIO = """
[campaign]
name = "Finch & <friends>"
body = "mars"
start = 2021-03-01T00:00:00
stop = 2021-03-19T00:00:00
seed = 4711

[station.gorse]
x = "-1654883 m"
y = "-5093206 m"
z = "3454503 m"

[station.heath]
x = "4747727 m"
y = "837152 m"
z = "4162751 m"

[lander.finch]
longitude = "30 deg"
latitude = "10 deg"
height = "0 m"

[[lander.finch.antenna]]
name = "east"
azimuth = "90 deg"
elevation = "35 deg"
half_width = "30 deg"

[[lander.finch.antenna]]
name = "west"
azimuth = "270 deg"
elevation = "35 deg"
half_width = "30 deg"

[link]
gravity = ["sun"]
troposphere = "none"

[schedule]
passes_per_week = 4
pass_length = "20 min"

[[noise]]
contribution = "solar_plasma"

[[noise]]
contribution = "thermal_phase"

[[noise]]
contribution = "range_thermal"

[[noise]]
contribution = "range_calibration"

[estimate]
parameters = ["pole.node_longitude", "pole.obliquity", "core.factor", "lander.*.[xyz]"]

[estimate.a_priori]
"lander.*.[xyz]" = "100 m"
"pole.node_longitude" = "1000 mas"
"pole.obliquity" = "1 mas"
"core.factor" = 0.07

[truth]
"lander.finch.x" = "20 m"
"lander.finch.z" = "-35 m"
"""
BAD_RANGE = 7
"""The range that is spoilt, among the ranges, and by how much, m."""
SPOILT_BY = 900.0


@dataclass(frozen=True)
class Rehearsal:
    """All that the steps of a campaign give."""

    campaign: Campaign
    periods: ViewPeriods
    passes: Passes
    tracking: Tracking
    solution: Solution

    @property
    def truth(self) -> dict[str, float]:
        return dict(self.tracking.meta["truth"])

    @property
    def all(self) -> dict[str, Any]:
        return {
            "campaign": self.campaign,
            "periods": self.periods,
            "passes": self.passes,
            "tracking": self.tracking,
            "solution": self.solution,
            "truth": self.truth,
        }


@pytest.fixture(scope="session")
def rehearsal(tmp_path_factory: pytest.TempPathFactory) -> Rehearsal:
    path: Path = tmp_path_factory.mktemp("scenario") / "finch.toml"
    path.write_text(SCENARIO, encoding="utf-8")
    campaign = read_scenario(path)
    periods = campaign.view_periods()
    passes = campaign.schedule(periods)
    tracking = campaign.simulate(passes)
    value = tracking.value.copy()
    value[np.flatnonzero(tracking.kind == "range")[BAD_RANGE]] += SPOILT_BY
    tracking = replace(tracking, value=value)
    return Rehearsal(campaign, periods, passes, tracking, campaign.fit(tracking))


@pytest.fixture(scope="session")
def drawn(rehearsal: Rehearsal) -> list[ReportFigure]:
    """All figures of the rehearsal."""
    return report_figures(**rehearsal.all)
