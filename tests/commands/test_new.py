"""The first run: a scenario of one's own, which works as it is."""

import json
import re

import pytest
from click.testing import CliRunner

import wobble as package
from wobble.cli import main


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.mark.slow  # half a year
def test_a_new_scenario_runs_as_it_is(tmp_path):
    folder = tmp_path / "mine"
    made = wobble("new", folder)
    assert made.exit_code == 0, made.output
    assert "next: wobble run" in made.output
    done = wobble("run", folder / "campaign.toml", "--out", folder / "results", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["passes"] > 50
    errors = [abs(p["error_in_sigmas"]) for p in found["truth"].values()]
    assert max(errors) < 4.0
    assert (folder / "results" / "report.html").exists()


def test_the_first_weeks_of_a_new_scenario_can_be_simulated(tmp_path):
    wobble("new", tmp_path / "mine")
    path = tmp_path / "mine" / "campaign.toml"
    text = re.sub("stop = .*", "stop = 2031-05-15T00:00:00", path.read_text("utf-8"), count=1)
    path.write_text(text, "utf-8")
    done = wobble("simulate", path, "--out", tmp_path / "data", "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["passes"] >= 5


def test_a_comment_stands_in_every_part_and_the_options_are_put_in(tmp_path):
    folder = tmp_path / "mine"
    assert wobble("new", folder, "--lander", "wren", "--start", "2033-01-15").exit_code == 0
    text = (folder / "campaign.toml").read_text(encoding="utf-8")
    assert "@" not in text
    assert text.count("#") > 25
    campaign = package.read_scenario(folder / "campaign.toml")
    assert [lander.name for lander in campaign.landers] == ["wren"]
    assert campaign.span[0].isot.startswith("2033-01-15")
    assert 180 < (campaign.span[1] - campaign.span[0]).to_value("d") < 185


def test_a_mistyped_key_of_it_is_answered_with_the_right_one(tmp_path):
    folder = tmp_path / "mine"
    wobble("new", folder)
    path = folder / "campaign.toml"
    path.write_text(re.sub("pass_length", "pass_lenght", path.read_text("utf-8")), "utf-8")
    result = wobble("plan", path)
    assert result.exit_code == 2
    assert "pass_length" in result.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--lander", "a b"], "--lander"),
        (["--start", "spring"], "--start"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(options, said, tmp_path):
    result = wobble("new", tmp_path / "mine", *options)
    assert result.exit_code == 2
    assert said in result.stderr
    assert not (tmp_path / "mine").exists()


def test_a_folder_that_is_not_empty_is_refused_and_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    result = wobble("new", tmp_path)
    assert result.exit_code == 2
    assert "not empty" in result.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def test_the_template_s_table_reads_what_it_describes(tmp_path):
    result = wobble("new", tmp_path / "mine")
    assert result.exit_code == 0, result.output
    path = tmp_path / "mine" / "campaign.toml"
    head, mark, table = path.read_text(encoding="utf-8").partition("# [[data.table]]\n")
    assert mark
    lines = [line.removeprefix("# ") for line in (mark + table).splitlines()]
    path.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    (path.parent / "ranges.txt").write_text("5 1 2020-05-01 06:00:00 1000000000.5 .05\n")
    campaign = package.read_scenario(path)
    data, warnings = package.read_tracking(campaign.data_files, campaign)
    assert warnings == []
    assert data.receiver.tolist() == ["alder"]
    assert data.lander[0] in {lander.name for lander in campaign.landers}
