"""What a schedule could not place, and why."""

from __future__ import annotations

import json
from collections import Counter

import numpy as np
import pytest
from click.testing import CliRunner

import wobble
from wobble.campaign.condition_hours import CAUSES, ConditionHours
from wobble.campaign.shortfall import Shortfall
from wobble.cli import main
from wobble.constants import DAY

BEAM, SUN = (
    list(CAUSES).index(f"the {name}")
    for name in ("lander's antenna beams", "Sun-Earth-probe limit")
)


def hours_of(days: int, view: float = 3.0) -> ConditionHours:
    """Every day so many hours in view, whatever condition is lifted."""
    by_day = np.full(days, view)
    return ConditionHours(np.zeros(12), np.zeros(12), by_day, np.tile(by_day[:, None], len(CAUSES)))


def test_a_gap_names_the_condition_that_closes_its_days_and_how_many() -> None:
    hours = hours_of(100)
    hours.by_day[20:60] = 0.0
    hours.without_by_day[20:60] = 0.0
    hours.without_by_day[20:26, SUN] = 2.0
    hours.without_by_day[26:58, BEAM] = 2.0
    begins = [k * DAY for k in [*range(0, 20, 2), *range(60, 100, 2)]]
    by_week = Counter(int(begin // (7 * DAY)) for begin in begins)
    found = Shortfall.of("2031-05-01", 100 * DAY, 3, 2700.0, begins, by_week, hours, {})
    (gap,) = found.gaps
    assert (gap.start, gap.stop) == (18.0, 60.0)
    assert gap.cause == "the lander's antenna beams"
    assert gap.opened_days == 32
    assert found.placed == 30
    assert found.asked == found.placed + sum(found.missing.values())
    assert set(found.missing) >= {"the Sun-Earth-probe limit", "the lander's antenna beams"}
    assert "no pass for 42 days, 2031-05-19 to 2031-06-30: the lander's antenna beams" in "\n".join(
        found.sentences
    )


def test_where_there_is_view_the_constraint_that_refused_is_named() -> None:
    refused = {k: Counter({"rest of heron": 3}) for k in range(2, 6)}
    begins = [0.0, *(k * 7 * DAY for k in range(6, 10))]
    by_week = Counter(int(begin // (7 * DAY)) for begin in begins)
    found = Shortfall.of("2031-05-01", 70 * DAY, 1, 2700.0, begins, by_week, hours_of(70), refused)
    assert found.gaps[0].cause == "rest of heron"
    assert found.missing == {"rest of heron": 4, "too few view periods that are long enough": 1}


@pytest.fixture(scope="module")
def closed(short_text, tmp_path_factory):
    """The three stations belong to others for three weeks of two months."""
    calendar = "".join(
        f'\n[calendar.{name}]\ntaken = ["2031-05-20T00:00/2031-06-10T00:00"]\n'
        for name in ("alder", "broom", "cliff")
    )
    path = tmp_path_factory.mktemp("closed") / "campaign.toml"
    path.write_text(short_text + calendar, encoding="utf-8")
    return path


def test_a_plan_says_what_it_could_not_place(closed, tmp_path) -> None:
    campaign = wobble.read_scenario(closed)
    passes = campaign.schedule(campaign.view_periods())
    (gap,) = passes.shortfall.gaps
    assert gap.cause == "the stations' calendars"
    assert 19 <= gap.opened_days <= 21
    assert 21 <= gap.days <= 25
    # Nine weeks of three passes, but for two days.
    assert passes.shortfall.asked == pytest.approx(26, abs=1)
    assert "calendars" in passes._repr_html_()
    result = CliRunner().invoke(main, ["plan", str(closed), "--out", str(tmp_path / "plan")])
    assert result.exit_code == 0
    assert f"{len(passes)} of {passes.shortfall.asked} passes asked for are placed" in result.output
    page = (tmp_path / "plan" / "report.html").read_text(encoding="utf-8")
    assert "Longest times without a pass" in page
    assert "no pass for" in (tmp_path / "plan" / "passes.ecsv").read_text(encoding="utf-8")


def test_a_precision_that_is_not_reached_is_a_result(closed, tmp_path) -> None:
    out = tmp_path / "plan"
    target = "pole.precession_rate = 0.1 mas/yr"
    arguments = ["plan", str(closed), "--target", target, "--out", str(out), "--json"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    (answer,) = json.loads(result.stdout)["targets"]
    assert answer["passes"] is None
    assert answer["reached"] > 0.1
    assert "not reached; all" in answer["text"]
    assert answer["limited_by"] in answer["text"]
    assert (out / "precision.ecsv").is_file()
    assert (out / "passes.ecsv").is_file()
