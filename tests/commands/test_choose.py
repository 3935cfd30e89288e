"""`wobble choose`: the best passes from the command line."""

import json
import re

import numpy as np
import pytest
from astropy.table import QTable
from click.testing import CliRunner

from wobble.cli import main
from wobble.commands.choose import _budget
from wobble.files.results import read_schedule


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    """Two weeks and two stations, with a table of targets."""
    text = short_text.replace("stop = 2031-07-01", "stop = 2031-05-14")
    text = text.replace('use = ["alder", "broom", "cliff"]', 'use = ["alder", "broom"]')
    text += '\n[target]\n"pole.precession_rate" = "150 mas/yr"\n"core.factor" = 0.069\n'
    path = tmp_path_factory.mktemp("choose") / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def chosen(scenario, tmp_path_factory):
    out = tmp_path_factory.mktemp("chosen") / "out"
    result = wobble(
        "choose", scenario, "--passes", 6, "--for", "C/MR^2", "--step", "90 min", "--out", out
    )
    assert result.exit_code == 0, result.output
    return out, result.output


def test_the_choice_comes_with_its_certificate_and_the_caution(chosen):
    _, text = chosen
    assert re.search(r"6 of \d+ possible passes, 4.5 station hours", text)
    assert re.search(r"No choice of 6 passes within the budget is below [\d.]+", text)
    assert "% of the best possible" in text
    assert "radiation-safety limits" in text
    assert "assumptions on gravity and mantle add" in text


def test_the_passes_rest_and_can_be_simulated(chosen, scenario, tmp_path):
    passes = read_schedule(chosen[0] / "passes.ecsv")
    assert len(passes) == 6
    assert (np.diff((passes.start - passes.start[0]).to_value("h")) >= 20.0 - 1e-6).all()
    result = wobble(
        "simulate", scenario, "--passes", chosen[0] / "passes.ecsv", "--out", tmp_path / "sim"
    )
    assert result.exit_code == 0, result.output


def test_the_curve_is_written_in_the_targets_unit(chosen):
    table = QTable.read(chosen[0] / "effort.ecsv")
    assert table["passes"].tolist() == [1, 2, 3, 4, 5, 6]
    assert table["station_hours"][-1] == pytest.approx(4.5)
    bound, sigma = np.asarray(table["least_sigma"]), np.asarray(table["sigma"])
    seen = np.isfinite(bound)
    assert (bound[seen] <= sigma[seen] * (1 + 1e-12)).all()
    # 0.36370 over 7615 mas/yr (see test_derived), 200 mas/yr before the data.
    assert sigma[0] < 0.3637 * 200 / 7615
    assert {p.name for p in (chosen[0] / "figures").iterdir()} == {"effort.svg", "passes.svg"}


def test_the_scenarios_targets_are_weighed_and_the_fewest_passes_found(scenario):
    result = wobble("choose", scenario, "--hours", "alder=9,broom=5", "--step", "90 min", "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert found["target"] == "pole.precession_rate, core.factor"
    assert found["sigma"] <= 1.0
    assert 1 <= found["at_least"] <= found["passes"]
    assert found["hours_by_station"].get("alder", 0.0) <= 9.0
    assert found["hours_by_station"].get("broom", 0.0) <= 5.0
    ratios = [q["sigma"] / q["wanted"] for q in found["quantities"]]
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(found["sigma"], rel=1e-6)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--passes", 0], ["--passes", "at least one"]),
        (["--hours", "0"], ["--hours", "must be positive"]),
        (["--hours", "alder=0"], ["--hours", "must be positive"]),
        (["--hours", "adler=3"], ["station", "perhaps 'alder'"]),
        (["--hours", "alder=x"], ["--hours", "alder=x"]),
        (["--hours", "40 m"], ["--hours", "given in m", "does not convert to h", '"40 h"']),
        (["--hours", "-3 h"], ["--hours", "must be positive"]),
        (["--passes", 4, "--for", "core.radios"], ["perhaps 'core.radius'"]),
        (["--passes", 4, "--for", "pole.*"], ["pole.*"]),
        (["--passes", 4, "--for", "all = 3"], ["all", "without a value"]),
        (["--passes", 4, "--for", "all", "--for", "core.factor = 0.1"], ["stands alone"]),
        (["--for", "core.factor"], ["nothing limits", "--passes"]),
        (["--passes", 4, "--for", "core.factor", "--for", "core.period"], ["core.factor = 1"]),
        (["--for", "core.factor = 1 km"], ["core.factor", "--for"]),
        (["--for", "core.factor = 0"], ["positive"]),
        (["--passes", 4, "--step", "3"], ["--step", "unit"]),
        (["--passes", 4, "--for", "C/MR^2", "--planet", "vulcan"], ["vulcan"]),
    ],
)
def test_what_cannot_be_is_refused_before_the_work(options, said, scenario, tmp_path):
    result = wobble("choose", scenario, *options, "--out", tmp_path / "out")
    assert result.exit_code == 2, result.output
    (message,) = result.stderr.strip().splitlines()
    for text in said:
        assert text in message
    assert not (tmp_path / "out").exists()


def test_a_precision_out_of_reach_tells_the_best(scenario, tmp_path):
    result = wobble(
        "choose", scenario, "--for", "pole.precession_rate = 1 mas/yr", "--step", "3 h",
        "--out", tmp_path / "out",
    )  # fmt: skip
    assert result.exit_code == 2
    assert re.search(r"found '1 mas/yr'; expected [\d.]+ mas/yr or more", result.stderr)
    assert not (tmp_path / "out").exists()


def test_a_target_of_the_scenario_that_is_none_is_located(scenario, tmp_path):
    path = tmp_path / "campaign.toml"
    text = scenario.read_text(encoding="utf-8")
    path.write_text(text.replace('"150 mas/yr"', '"150 mas"'), encoding="utf-8")
    message = wobble("choose", path, "--passes", 3).stderr
    assert re.search(r"campaign\.toml, line \d+: target\.pole\.precession_rate", message)


def test_hours_may_have_their_unit(short_campaign):
    assert _budget(short_campaign, None, "40 h", None).hours == 40.0
    assert _budget(short_campaign, None, "90 min", None).hours == pytest.approx(1.5)
    assert _budget(short_campaign, None, "40", None).hours == 40.0
    by_station = _budget(short_campaign, None, "alder=40 h, broom=20", None).station_hours
    assert by_station == {"alder": 40.0, "broom": 20.0}
