"""The command that tells the noise of real passes."""

from __future__ import annotations

import json

import pytest
from astropy.table import QTable
from click.testing import CliRunner

from wobble.cli import main
from wobble.scenario.noise_sections import read_budget
from wobble.scenario.reader import read_scenario
from wobble.text.toml_section import read_toml


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def fitted(short_scenario, tmp_path_factory):
    folder = tmp_path_factory.mktemp("fitted")
    assert wobble("simulate", short_scenario, "--out", folder).exit_code == 0
    data = folder / "measurements.ecsv"
    assert wobble("fit", short_scenario, data, "--out", folder).exit_code == 0
    return folder


@pytest.fixture(scope="module")
def written(fitted, short_scenario):
    out = fitted / "noise"
    result = wobble("noise", short_scenario, fitted, "--out", out)
    assert result.exit_code == 0, result.output
    return out, result.output


def test_the_table_fits_sixty_columns_and_the_files_are_there(written):
    out, text = written
    assert max(map(len, text.split("for a scenario:")[0].splitlines())) <= 60
    assert "solar_plasma" in text
    assert QTable.read(out / "noise.ecsv")["factor"].min() > 0.0
    by_pass = QTable.read(out / "noise_by_pass.ecsv")
    assert len(by_pass) > 15
    for name in ("residual-spectrum", "residual-allan"):
        assert (out / "figures" / f"{name}.svg").read_text(encoding="utf-8").startswith("<svg")


def test_the_budget_found_is_a_scenario_s(written, short_text, tmp_path):
    out, text = written
    found = (out / "noise.toml").read_text(encoding="utf-8")
    assert found in text
    before, _, after = short_text.partition("[[noise]]")
    scenario = tmp_path / "measured.toml"
    rest = after[after.index("[estimate]\n") :]
    scenario.write_text(before + found + "\n" + rest, encoding="utf-8")
    budget = read_scenario(scenario).budget
    assert budget.names == ["white_range", "white_range_rate", "solar_plasma"]
    assert read_budget(read_toml(out / "noise.toml")) == budget
    levels = QTable.read(out / "noise.ecsv")
    assert budget.contributions[0].sigma == pytest.approx(levels["range"][0].value, rel=1e-5)
    assert budget.contributions[2].scale == pytest.approx(levels["factor"][2], rel=1e-5)


def test_chosen_contributions_as_json(fitted, short_scenario):
    names = ["range_thermal", "range_calibration", "transponder", "solar_plasma"]
    options = [word for name in names for word in ("--contribution", name)]
    result = wobble("noise", short_scenario, fitted, *options, "--json")
    assert result.exit_code == 0, result.output
    content = json.loads(result.stdout)
    assert list(content["contributions"]) == names
    # A bias that the fit has taken out is not to be seen in residuals.
    assert content["contributions"]["range_calibration"]["factor_sigma"] is None
    assert content["contributions"]["range_thermal"]["factor"] == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--contribution", "transpnder"], "'transponder'"),
        (["--contribution", "solar_plasma", "--contribution", "power_law"], "has to be given"),
    ],
)
def test_impossible_choices_are_refused(options, said, fitted, short_scenario, tmp_path):
    out = tmp_path / "nothing"
    result = wobble("noise", short_scenario, fitted, *options, "--out", out)
    assert result.exit_code == 2
    assert said in result.output
    assert not out.exists()


def test_a_folder_without_a_fit_is_refused(short_scenario, tmp_path):
    result = wobble("noise", short_scenario, tmp_path)
    assert result.exit_code == 2
    assert "no such folder" in result.output or "no results" in result.output
