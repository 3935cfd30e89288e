"""The plan command with three-way tracking, a calendar, and schedules made by hand."""

import json
import re

import icalendar
import pytest
from click.testing import CliRunner

from wobble.cli import main


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    """A fortnight with a three-way pair and an afternoon's calendar."""
    text = short_text.replace("stop = 2031-07-01", "stop = 2031-05-15").replace(
        'sun_limit = "5 deg"', 'sun_limit = "5 deg"\nthree_way = [["alder", "cliff"]]'
    )
    text += '\n[calendar.broom]\nweekly = ["Mon-Fri 22:30-02:00"]\n'
    path = tmp_path_factory.mktemp("plan") / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def plan(scenario):
    """The plan's printed text and its folder."""
    out = scenario.parent / "plan"
    result = wobble("plan", scenario, "--out", out)
    assert result.exit_code == 0, result.output
    return result.output, out


def test_the_lists_fit_into_60_columns_and_name_the_limits(plan):
    text, _ = plan
    said = text.split("written to")[0].splitlines()
    lists = [line for line in said if not re.match(r"<|Earth|A schedule|  \w", line)]
    assert max(map(len, lists)) <= 60
    assert "radiation-safety limit of alder" in text
    assert "calendar of broom" in text
    assert "alder-cliff" in text


def test_the_calendar_of_the_plan_has_every_pass(plan):
    _, out = plan
    calendar = icalendar.Calendar.from_ical((out / "passes.ics").read_bytes())
    rows = (out / "passes.ecsv").read_text(encoding="utf-8").splitlines()
    assert len(list(calendar.walk("VEVENT"))) == sum(row.startswith("P0") for row in rows) > 3


def test_the_plans_own_schedule_passes_its_check(plan, scenario):
    _, out = plan
    result = wobble("plan", scenario, "--passes", out / "passes.ecsv", "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["passes"] > 3


def test_violations_by_hand_are_named_and_nothing_is_written(plan, scenario, tmp_path):
    _, out = plan
    text = (out / "passes.ecsv").read_text(encoding="utf-8")
    row = next(line for line in text.splitlines() if line.startswith("P001"))
    again = row.replace("P001", "P999")
    path = tmp_path / "mine.ecsv"
    path.write_text(text.replace(row, f"{row}\n{again}"), encoding="utf-8")
    folder = tmp_path / "out"
    result = wobble("plan", scenario, "--passes", path, "--out", folder)
    assert result.exit_code == 2
    assert re.search(r"P999: overlap at \w+: by 45 min \(with P001\)", result.output)
    assert "violation" in result.stderr
    assert not folder.exists()
    result = wobble("plan", scenario, "--passes", path, "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout)["violations"][0]["pass_id"] == "P999"


def test_an_unknown_station_by_hand_names_file_and_pass(plan, scenario, tmp_path):
    _, out = plan
    path = tmp_path / "mine.ecsv"
    text = (out / "passes.ecsv").read_text(encoding="utf-8")
    path.write_text(text.replace("cliff", "clif"), encoding="utf-8")
    result = wobble("plan", scenario, "--passes", path)
    assert result.exit_code == 2
    for part in ("mine.ecsv", "pass P0", "clif", "perhaps 'cliff'"):
        assert part in result.stderr


def test_no_window_at_all_says_which_condition_removes_the_last(scenario, tmp_path):
    path = tmp_path / "campaign.toml"
    text = scenario.read_text(encoding="utf-8")
    path.write_text(
        text.replace('sun_limit = "5 deg"', 'sun_limit = "179.9 deg"'), encoding="utf-8"
    )
    result = wobble("plan", path)
    assert result.exit_code == 2
    assert re.search(r"without the condition 'Sun-Earth-probe limit' \d+ h would", result.stderr)
