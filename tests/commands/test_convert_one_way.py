"""One-way passes as Tracking Data Messages, from the command line and back into a fit."""

import json
import re

import pytest
from click.testing import CliRunner

import wobble
from wobble.cli import main
from wobble.files.measurement_table import write_passes

OSCILLATOR = """
[lander.heron.oscillator]
frequency = "8.4 GHz"
bias = 1e-8
epoch = 2031-05-01T00:00:00
"""
BIAS = "lander.heron.oscillator_bias"


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def refused(result, *words):
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    for word in words:
        assert word in result.output


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    """The demonstration with an oscillator on the lander, and no uplink."""
    text = short_text + OSCILLATOR
    for old, new in (
        ("[schedule]", '[schedule]\nlink = "one_way"'),
        ('"lander.*.[xyz]",\n]', f'"lander.*.[xyz]", "{BIAS}",\n]'),
        ("[estimate.a_priori]", f'[estimate.a_priori]\n"{BIAS}" = 1e-7'),
        ("[data.agreement]", '[data.agreement]\none_way_range_rate_sigma = "0.1 mm/s"'),
    ):
        assert text.count(old) >= 1
        text = text.replace(old, new, 1)
    path = tmp_path_factory.mktemp("one_way") / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def tracking(scenario, short_passes):
    return wobble.read_scenario(scenario).simulate(short_passes)


@pytest.fixture(scope="module")
def written(scenario, tracking, tmp_path_factory):
    folder = tmp_path_factory.mktemp("written")
    write_passes(folder / "passes.ecsv", tracking)
    for name in ("passes.kvn", "passes.xml"):
        result = run("convert", scenario, folder / "passes.ecsv", "--out", folder / name, "--json")
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)["measurements"] == len(tracking)
    return folder


@pytest.mark.parametrize("name", ["passes.kvn", "passes.xml"])
def test_a_round_trip_through_a_message_leaves_the_solution_as_it_was(
    name, scenario, written, tracking
):
    campaign = wobble.read_scenario(scenario)
    before = campaign.fit(tracking)
    after = campaign.fit(wobble.read_tracking([written / name], campaign)[0])
    for parameter in before.names:
        one, two = before[parameter], after[parameter]
        assert abs(one.value - two.value) < 1e-6 * one.sigma
        assert two.sigma == pytest.approx(one.sigma, rel=1e-6)
    # It is the data that come back, not the a priori values.
    assert before[BIAS].sigma < 0.1 * before.parameters[BIAS].sigma


def test_the_message_is_fitted_and_inspected(scenario, written, tracking):
    path = written / "passes.kvn"
    fitted = run("fit", scenario, path, "--json")
    assert fitted.exit_code == 0, fitted.output
    assert json.loads(fitted.stdout)["n_used"] > 0.9 * len(tracking)
    found = json.loads(run("inspect", path, "--scenario", scenario, "--json").stdout)["files"][0]
    assert found["missing_for_a_fit"] == []
    paths = {tuple(one["path"]) for one in found["series"] if one["kind"] == "RECEIVE_FREQ_2"}
    assert ("HERON 1", "STATION A") in paths
    assert all(len(one) == 2 for one in paths)
    table = json.loads(run("inspect", written / "passes.ecsv", "--json").stdout)["files"][0]
    assert table["keywords"]["one_way_range_rate"] == {
        "count": len(tracking), "reader": "measurement",
    }  # fmt: skip
    assert ["heron", "alder"] in [one["path"] for one in table["series"]]


def test_a_lander_without_an_oscillator_is_named_with_line_and_keyword(scenario, written, tmp_path):
    bare = tmp_path / "campaign.toml"
    bare.write_text(
        scenario.read_text(encoding="utf-8").replace(OSCILLATOR, "").replace(f', "{BIAS}"', "")
        .replace(f'"{BIAS}" = 1e-7', "")
    )  # fmt: skip
    words = ("passes.kvn, line", "PARTICIPANT_1", "without an oscillator", "[lander.heron.osc")
    refused(run("fit", bare, written / "passes.kvn"), *words)
    said = run("inspect", written / "passes.kvn", "--scenario", bare).output
    assert "without an oscillator" in said


def test_another_frequency_than_the_oscillators_is_refused(scenario, written, tmp_path):
    other = tmp_path / "campaign.toml"
    other.write_text(scenario.read_text(encoding="utf-8").replace('"8.4 GHz"', '"8.41 GHz"'))
    words = ("passes.kvn, line", "TRANSMIT_FREQ_1", "contradicts the nominal frequency", "8410000")
    refused(run("fit", other, written / "passes.kvn"), *words)


def test_a_message_without_the_frequency_takes_the_oscillators(scenario, written, tmp_path):
    text = (written / "passes.kvn").read_text()
    path = tmp_path / "silent.kvn"
    path.write_text(re.sub(r"TRANSMIT_FREQ_1 .*\n", "", text))
    campaign = wobble.read_scenario(scenario)
    with_it, without = (
        wobble.read_tracking([file], campaign)[0] for file in (written / "passes.kvn", path)
    )
    assert with_it.value.tolist() == without.value.tolist()
    assert set(without.frequency.tolist()) == {8.4e9}
