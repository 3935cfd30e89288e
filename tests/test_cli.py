"""The command line: what it prints, what it writes, and what it says to nonsense."""

import importlib
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from wobble import commands as command_modules
from wobble.cli import MODULES, SECTIONS, main

ROOT = Path(__file__).parents[1]
LUNAR = ROOT / "tests" / "data" / "lunar_ranging" / "scenario.toml"


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def rehearsal(short_scenario, tmp_path_factory):
    folder = tmp_path_factory.mktemp("rehearsal") / "results"
    result = wobble("run", short_scenario, "--out", folder, "--json")
    assert result.exit_code == 0, result.output
    return folder, json.loads(result.stdout)


def test_run_writes_every_result(rehearsal):
    folder, summary = rehearsal
    written = {p.name for p in folder.iterdir()}
    assert {
        "view_periods.ecsv",
        "passes.ecsv",
        "measurements.ecsv",
        "truth.ecsv",
        "solution.ecsv",
        "residuals.ecsv",
        "report.html",
        "figures",
    } <= written
    assert summary["passes"] > 15
    assert summary["seed"] == 20310501
    assert {"n_used", "n_rejected", "rejected", "rms", "iterations", "parameters"} <= set(summary)
    assert {"range_m", "range_rate_mm_s"} == set(summary["rms"])


def test_results_say_what_made_them(rehearsal):
    head = (rehearsal[0] / "view_periods.ecsv").read_text(encoding="utf-8")
    assert "DE440" in head
    assert "astropy-iers-data" in head
    assert "continued by rule" in head


def test_the_steps_one_by_one_give_what_run_gives(rehearsal, short_scenario, tmp_path):
    _, summary = rehearsal
    again = tmp_path / "again"
    assert wobble("simulate", short_scenario, "--out", again).exit_code == 0
    result = wobble("fit", short_scenario, again / "measurements.ecsv", "--json")
    assert result.exit_code == 0, result.output
    fitted = json.loads(result.stdout)
    for name, parameter in summary["parameters"].items():
        assert fitted["parameters"][name]["value"] == pytest.approx(parameter["value"], rel=1e-12)


def test_a_schedule_by_hand_is_simulated(rehearsal, short_scenario, tmp_path):
    out = tmp_path / "by_hand"
    result = wobble(
        "simulate", short_scenario, "--passes", rehearsal[0] / "passes.ecsv", "--out", out
    )
    assert result.exit_code == 0, result.output
    same = (rehearsal[0] / "measurements.ecsv").read_text(encoding="utf-8").splitlines()
    mine = (out / "measurements.ecsv").read_text(encoding="utf-8").splitlines()
    assert mine[-1] == same[-1]


def test_plan_prints_periods_passes_and_the_caution(short_scenario):
    result = wobble("plan", short_scenario)
    assert result.exit_code == 0
    assert "View periods" in result.output
    assert "radiation-safety limits" in result.output


def test_fit_of_real_ranges_prints_one_json_object():
    result = wobble("fit", LUNAR, "--json")
    assert result.exit_code == 0, result.output
    summary = json.loads(result.stdout)
    assert summary["n_used"] + summary["n_rejected"] == 75
    first = summary["parameters"]["lander.apollo15.x"]
    sigmas = {"sigma_formal", "sigma_realistic", "a_priori_sigma"}
    assert set(first) == {"value", "unit", "remark"} | sigmas
    assert first["sigma_realistic"] >= first["sigma_formal"] > 0


def test_the_list_of_commands_has_each_of_them_once():
    listed = [name for commands in SECTIONS.values() for name in commands]
    assert len(listed) == len(set(listed))
    # Each module's commands are listed, whichever they are.
    package = Path(str(command_modules.__file__)).parent
    made = [
        command.name
        for path in package.glob("*.py")
        for command in getattr(
            importlib.import_module(f"wobble.commands.{path.stem}"), "COMMANDS", ()
        )
    ]
    assert sorted(listed) == sorted(made)
    text = wobble("--help").output
    for section in SECTIONS:
        assert f"{section}:" in text


def test_help_shows_an_example_for_every_command():
    for command in MODULES:
        text = wobble(command, "--help").output
        assert f"wobble {command}" in text


SCENARIO_FAULTS = {
    "a missing key": (r"body = .*", "", ["campaign.body", "missing"]),
    "an unknown key": (r"(count_time = .*)", r"\1\ncuont_time = 3", ["cuont_time", "count_time"]),
    "no unit": (r'pass_length = "45 min"', "pass_length = 45", ["pass_length", "45", "unit"]),
    "a bare number in a string": (
        r'pass_length = "45 min"',
        'pass_length = "45"',
        ["pass_length", "45"],
    ),
    "the wrong dimension": (r'"45 min"', '"45 km"', ["pass_length", "in km", "to s"]),
    "an unknown unit": (r'"45 min"', '"45 blinks"', ["pass_length", "blinks"]),
    "a value that is not a number": (r'"45 min"', '"nan min"', ["pass_length", "nan"]),
    "an unknown station": (r'"cliff"', '"clif"', ["clif", "perhaps 'cliff'"]),
    "an unknown body": (r'body = "mars"', 'body = "marz"', ["marz", "perhaps 'mars'"]),
    "an unknown parameter": (r'"core\.\*"', '"cove.*"', ["cove.*", "estimate.parameters"]),
    "an unknown truth": (r'"core\.period" = "3 d"', '"core.perio" = "3 d"', ["core.perio"]),
    "an unknown noise": (r'"thermal_phase"', '"thermal_phaze"', ["thermal_phaze", "thermal_phase"]),
    "an unknown troposphere": (r'troposphere = "radio"', 'troposphere = "wet"', ["troposphere"]),
    "an epoch outside the ephemeris": (
        r"start = 2031-05-01T00:00:00.*\nstop = 2031-07-01T00:00:00",
        "start = 2931-05-01T00:00:00\nstop = 2931-07-01T00:00:00",
        ["ephemeris", "2931", "2650"],
    ),
    "a stop before the start": (r"stop = 2031-07-01", "stop = 2030-07-01", ["campaign.stop"]),
    "no date": (r"start = 2031-05-01T00:00:00", 'start = "spring"', ["campaign.start", "spring"]),
    "a pass longer than any view period": (r'"45 min"', '"40 h"', ["pass_length", "longest"]),
    "a count longer than the pass": (r'count_time = "60 s"', 'count_time = "2 h"', ["count_time"]),
    "a lander in the sky": (r'height = "-2500 m"', 'height = "900 km"', ["lander.heron"]),
}


@pytest.mark.parametrize("fault", SCENARIO_FAULTS)
def test_a_fault_of_the_scenario_is_one_message_and_status_2(fault, short_text, tmp_path):
    pattern, replacement, said = SCENARIO_FAULTS[fault]
    text, count = re.subn(pattern, replacement, short_text, count=1)
    assert count == 1
    path, out = tmp_path / "campaign.toml", tmp_path / "out"
    path.write_text(text, encoding="utf-8")
    _assert_refused(wobble("plan", path, "--out", out), said)
    assert not out.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", ["empty"]),
        (b"\x00\xff\x80binary", ["text"]),
        (b"[campaign\nname = 3", ["TOML", "line 1"]),
    ],
    ids=["empty", "binary", "not TOML"],
)
def test_a_file_that_is_no_scenario_is_refused(content, said, tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_bytes(content)
    _assert_refused(wobble("plan", path), said)


def test_a_scenario_that_is_not_there_is_refused(tmp_path):
    _assert_refused(wobble("plan", tmp_path / "nowhere.toml"), ["nowhere.toml", "is not found"])


def _faulty_data(folder, kind):
    path = folder / "measurements.ecsv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    return {
        "empty": b"",
        "binary": bytes(range(256)) * 20,
        "truncated": "".join(lines[: len(lines) // 2]).encode(),
        "cut within a line": "".join(lines)[:-20].encode(),
        "NaN": "".join(
            [*lines[:-1], re.sub(r"range_rate (\S+) receive", "range_rate nan receive", lines[-1])]
        ).encode()
        if "nan" not in lines[-1]
        else "".join([*lines[:-1], lines[-1].replace("receive", "nan")]).encode(),
    }[kind]


@pytest.mark.parametrize("kind", ["empty", "binary", "truncated", "cut within a line", "NaN"])
def test_faulty_data_are_refused_by_file(kind, rehearsal, short_scenario, tmp_path):
    path, out = tmp_path / "bad.ecsv", tmp_path / "out"
    path.write_bytes(_faulty_data(rehearsal[0], kind))
    _assert_refused(wobble("fit", short_scenario, path, "--out", out), ["bad.ecsv"])
    assert not out.exists()


def test_data_with_an_unknown_extension_are_refused(short_scenario, tmp_path):
    path = tmp_path / "data.xyz"
    path.write_text("1 2 3", encoding="utf-8")
    _assert_refused(wobble("fit", short_scenario, path), ["data.xyz", ".ecsv"])


def test_no_data_at_all_is_refused(short_scenario):
    _assert_refused(wobble("fit", short_scenario), ["no data", "data.files"])


def test_real_data_outside_the_earth_orientation_table_are_refused(
    rehearsal, short_scenario, tmp_path
):
    # The same measurements, no longer marked as simulated, lie years after the table's end.
    text = (rehearsal[0] / "measurements.ecsv").read_text(encoding="utf-8")
    assert "simulated: true" in text
    path = tmp_path / "real.ecsv"
    path.write_text(text.replace("simulated: true", "simulated: false"), encoding="utf-8")
    _assert_refused(wobble("fit", short_scenario, path), ["Earth-orientation table", "2031"])


def test_data_of_an_unknown_station_are_refused(rehearsal, short_text, tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_text(
        short_text.replace('use = ["alder", "broom", "cliff"]', 'use = ["alder", "broom"]'),
        encoding="utf-8",
    )
    _assert_refused(wobble("fit", path, rehearsal[0] / "measurements.ecsv"), ["station", "cliff"])


def test_an_output_folder_that_cannot_be_written_is_refused_before_the_work(
    short_scenario, tmp_path
):
    # A file stands where the folder should be (permissions do not stop an administrator).
    blocked = tmp_path / "file"
    blocked.write_text("here first", encoding="utf-8")
    _assert_refused(wobble("run", short_scenario, "--out", blocked), ["file", "cannot be"])
    _assert_refused(wobble("run", short_scenario, "--out", blocked / "inside"), ["cannot be"])
    assert blocked.read_text(encoding="utf-8") == "here first"


def _assert_refused(result, said):
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    message = result.stderr.strip()
    assert message.startswith("wobble: ")
    assert len(message.splitlines()) == 1
    for text in said:
        assert text in message


def test_plan_says_how_many_passes_a_precision_takes(short_scenario, tmp_path):
    out = tmp_path / "plan"
    result = wobble("plan", short_scenario, "--target", "lander.heron.z = 5 m", "--out", out)
    assert result.exit_code == 0, result.output
    said = " ".join(result.output.split())
    assert "lander.heron.z to 5 m: the first" in said
    assert "what limits it then" in said
    assert (out / "precision.ecsv").exists()
    assert (out / "figures" / "precision.svg").exists()


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ("lander.heron.z = 1 mas", ["lander.heron.z", "mas"]),
        ("lander.heron.z", ["--target"]),
        ("pole.precession = 1 mas/yr", ["pole.precession", "perhaps 'pole.precession_rate'"]),
    ],
)
def test_a_target_that_cannot_be_is_refused(target, said, short_scenario, tmp_path):
    out = tmp_path / "plan"
    _assert_refused(wobble("plan", short_scenario, "--target", target, "--out", out), said)
    assert not out.exists()
