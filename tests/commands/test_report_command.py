"""A report from a folder that has no results, half of them, or those of another version."""

import json
import shutil

import pytest
from click.testing import CliRunner

from wobble.cli import main
from wobble.version import __version__


def wobble(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    """Three weeks of the demonstration."""
    path = tmp_path_factory.mktemp("scenario") / "campaign.toml"
    path.write_text(short_text.replace("stop = 2031-07-01", "stop = 2031-05-22"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(scenario, tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "results"
    done = wobble("run", scenario, "--out", folder, "--json")
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture
def results(made, tmp_path):
    return shutil.copytree(made, tmp_path / "results", ignore=shutil.ignore_patterns("figures"))


def refused(scenario, folder, *said):
    before = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else None
    done = wobble("report", scenario, folder)
    assert done.exit_code == 2, done.output
    assert "Traceback" not in done.output
    for text in said:
        assert text in done.stderr, done.stderr
    after = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else None
    assert before == after


def changed(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_folder_that_is_not_there(scenario, tmp_path):
    refused(scenario, tmp_path / "nowhere", "no such folder", "wobble fit or wobble run")


def test_a_folder_without_results(scenario, tmp_path):
    refused(scenario, tmp_path, "the folder has no results of a fit")


def test_half_of_the_results(scenario, results):
    (results / "covariance.ecsv").unlink()
    (results / "information.ecsv").unlink()
    refused(scenario, results, "not whole, without covariance.ecsv, information.ecsv")


def test_a_file_that_ends_too_early(scenario, results):
    path = results / "residuals.ecsv"
    path.write_text(path.read_text(encoding="utf-8")[:900], encoding="utf-8")
    refused(scenario, results, "residuals.ecsv")


def test_results_written_in_another_way(scenario, results):
    changed(results / "solution.ecsv", "hardly_separated", "barely_separated")
    changed(results / "solution.ecsv", f"wobble: {__version__}", "wobble: 9.9.9")
    refused(scenario, results, "results of wobble 9.9.9", f"wobble {__version__}: fit again")


def test_results_of_another_version_that_can_be_read_are_reported_with_a_word(scenario, results):
    changed(results / "solution.ecsv", f"wobble: {__version__}", "wobble: 0.0.9")
    done = wobble("report", scenario, results, "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)["data_warnings"]
    assert said == [f"fitted by wobble 0.0.9, reported by wobble {__version__}"]


def test_measurements_that_were_not_fitted(scenario, results):
    changed(results / "fitted_measurements.ecsv", "P003", "P033")
    refused(scenario, results, "was not made from these measurements")


def test_the_report_of_a_run_holds_the_check_by_hand_and_the_inside(made):
    page = (made / "report.html").read_text(encoding="utf-8")
    assert 'id="hand-check"' in page
    assert "numbers agree with a first-order formula" in page
    assert 'id="interior"' in page
    # Three weeks say nothing of the core.
    assert "Of the core nothing is inferred: the data say nothing of core.factor" in page
