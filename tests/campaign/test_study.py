"""Trade studies: killed and continued, on one worker, on two, on a cluster; always one table."""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from astropy.table import QTable
from click.testing import CliRunner
from distributed import LocalCluster

from wobble.campaign.study import Inline, Outcome, StudyInterrupted, run_study
from wobble.cli import main
from wobble.errors import InputError
from wobble.files.study_journal import FolderJournal
from wobble.scenario.study_file import read_study

BASE = """
[campaign]
name = "Two days of the wren"
body = "mars"
start = 2021-03-01T00:00:00
stop = 2021-03-03T00:00:00

[station.gorse]
x = "-1654883 m"
y = "-5093206 m"
z = "3454503 m"

[lander.wren]
longitude = "30 deg"
latitude = "10 deg"
height = "0 m"

[link]
gravity = []
troposphere = "none"

[schedule]
passes_per_week = 4
pass_length = "20 min"
count_time = "4 min"

[[noise]]
contribution = "white_range"

[[noise]]
contribution = "white_range_rate"

[estimate]
parameters = ["pole.obliquity", "core.factor", "lander.*.[xyz]"]

[estimate.a_priori]
"lander.*.[xyz]" = "100 m"
"pole.obliquity" = "1 mas"
"core.factor" = 0.07
"""
HEAD = """
[study]
name = "A study"
scenario = "base.toml"
quantities = ["core.factor", "lander.wren.z"]
"""
TWELVE = """
[grid]
"lander.wren.latitude" = ["0 deg", "40 deg", "nonsense"]
"schedule.pass_length" = ["20 min", "40 min"]
"noise.white_range.sigma" = ["1 m", "3 m"]
"""
COMMAND = [sys.executable, "-c", "from wobble.cli import main; main()", "study"]


def study_in(folder, text):
    (folder / "base.toml").write_text(BASE, encoding="utf-8")
    (folder / "study.toml").write_text(HEAD + text, encoding="utf-8")
    return folder / "study.toml"


def wobble(*arguments):
    return CliRunner().invoke(main, ["study", *map(str, arguments)])


def rows(folder):
    return [line for line in (folder / "study.ecsv").read_text("utf-8").splitlines() if line]


def finished(folder):
    return list((folder / "variations").glob("*.json"))


def killed_after(number, study, out, *options):
    """Run a study in a process of its own and kill it when so many variations are finished."""
    process = subprocess.Popen([*COMMAND, str(study), "--out", str(out), *options])
    try:
        while len(finished(out)) < number and process.poll() is None:
            time.sleep(0.01)
    finally:
        os.kill(process.pid, signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    assert not (out / "study.ecsv").exists()


@pytest.fixture(scope="module")
def twelve(tmp_path_factory):
    """The study of twelve variations, and the folder of a run that nothing disturbed."""
    folder = tmp_path_factory.mktemp("study")
    study = study_in(folder, TWELVE)
    result = wobble(study, "--out", folder / "whole")
    assert result.exit_code == 0, result.output
    return study, folder / "whole", result.output


@pytest.fixture(scope="module")
def cluster():
    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(host="127.0.0.1", protocol="tcp", silence_logs=50, **options) as running:
        yield running.scheduler_address


def test_a_faulty_variation_is_recorded_and_the_others_go_on(twelve):
    _, out, text = twelve
    table = QTable.read(out / "study.ecsv")
    assert len(table) == len(finished(out)) == 12
    bad = np.array([bool(problem) for problem in table["problem"]])
    assert bad.tolist() == [False] * 8 + [True] * 4
    assert "line 15: lander.wren.latitude" in table["problem"][8]
    assert np.isfinite(np.asarray(table["sigma lander.wren.z"])[~bad]).all()
    assert table["sigma lander.wren.z"].unit == "m"
    assert table["schedule.pass_length"].tolist() == (["20 min"] * 2 + ["40 min"] * 2) * 3
    assert "4 variations could not be computed" in text
    assert "radiation-safety limits" in text


def test_killed_and_continued_it_gives_the_same_table(twelve, tmp_path):
    study, whole, _ = twelve
    killed_after(4, study, tmp_path)
    kept = {path: path.stat().st_mtime_ns for path in finished(tmp_path)}
    assert 4 <= len(kept) < 12
    result = wobble(study, "--out", tmp_path, "--workers", 2)
    assert result.exit_code == 0, result.output
    assert f"{len(kept)} variations were finished before" in result.stderr
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
    assert rows(tmp_path) == rows(whole)


def test_a_cluster_gives_the_same_table(twelve, cluster, tmp_path):
    study, whole, _ = twelve
    result = wobble(study, "--out", tmp_path, "--cluster", cluster)
    assert result.exit_code == 0, result.output
    assert rows(tmp_path) == rows(whole)


def test_a_cluster_that_does_not_answer_leaves_local_work_unharmed(twelve):
    study, whole, _ = twelve
    before = {path: path.read_bytes() for path in whole.rglob("*") if path.is_file()}
    begin = time.monotonic()
    result = wobble(study, "--out", whole, "--cluster", "tcp://127.0.0.1:9")
    assert time.monotonic() - begin < 30.0  # five seconds, on a machine that is not busy
    assert result.exit_code == 2
    assert "does not answer within 5 s; found 'tcp://127.0.0.1:9'" in result.stderr
    assert {path: path.read_bytes() for path in whole.rglob("*") if path.is_file()} == before


@pytest.mark.slow
def test_two_hundred_variations_killed_half_way_on_every_kind_of_worker(cluster, tmp_path):
    latitudes = [f"{3 * k} deg" for k in range(25)]
    lengths = [f"{20 + 4 * k} min" for k in range(8)]
    grid = f'"lander.wren.latitude" = {latitudes}\n"schedule.pass_length" = {lengths}\n'
    study = study_in(tmp_path, "[grid]\n" + grid)
    assert wobble(study, "--out", tmp_path / "whole").exit_code == 0
    assert len(finished(tmp_path / "whole")) == 200
    for name, options in {
        "one": [],
        "two": ["--workers", "2"],
        "cluster": ["--cluster", cluster],
    }.items():
        killed_after(100, study, tmp_path / name, *options)
        assert 100 <= len(finished(tmp_path / name)) < 200
        assert wobble(study, "--out", tmp_path / name, *options).exit_code == 0
        assert rows(tmp_path / name) == rows(tmp_path / "whole")


class Losing(Inline):
    """An executor whose worker dies with the third task."""

    def __init__(self):
        self.count = 0

    def submit(self, fn, /, *args, **kwargs):
        self.count += 1
        if self.count == 3:
            return super().submit(_lost)
        return super().submit(fn, *args, **kwargs)


def _lost():
    raise RuntimeError("gone")


def test_a_lost_worker_loses_no_finished_variation(tmp_path):
    study = read_study(study_in(tmp_path, '[grid]\n"campaign.seed" = [1, 2, 3, 4]\n'))
    journal = FolderJournal(tmp_path / "variations")
    with pytest.raises(StudyInterrupted, match=r"RuntimeError: gone.*kept"):
        run_study(study, journal, Losing())
    assert len(finished(tmp_path)) == 2
    # Two are left to compute; the seed is of no consequence to a prediction.
    outcomes = run_study(study, journal, Losing())
    assert len(finished(tmp_path)) == 4
    assert outcomes == [outcomes[0]] * 4


def test_a_changed_study_is_noticed(tmp_path):
    study = study_in(tmp_path, '[grid]\n"schedule.pass_length" = ["20 min", "30 min"]\n')
    first = json.loads(wobble(study, "--out", tmp_path / "out", "--json").stdout)
    assert (first["finished_before"], first["of_another_version"]) == (0, 0)
    study_in(tmp_path, '[grid]\n"schedule.pass_length" = ["30 min", "40 min"]\n')
    result = wobble(study, "--out", tmp_path / "out", "--json")
    second = json.loads(result.stdout)
    assert (second["finished_before"], second["of_another_version"]) == (1, 1)
    assert "have changed" in result.stderr
    assert second["variations"][0]["sigma"] == first["variations"][1]["sigma"]
    # The scenario itself is part of what a variation depends on.
    base = BASE.replace('"1 mas"', '"2 mas"')
    (tmp_path / "base.toml").write_text(base, encoding="utf-8")
    assert not {v.key for v in read_study(study).variations} & {
        path.stem for path in finished(tmp_path / "out")
    }


def test_undetermined_precision_is_kept_as_such(tmp_path):
    journal = FolderJournal(tmp_path)
    outcome = Outcome(3, 1.5, {"core.factor": np.inf, "core.period": 2.0})
    journal.write("a", "first", outcome)
    assert journal.read("a") == outcome
    assert journal.read("b") is None
    (tmp_path / "b.json").write_text('{"passes": 3', encoding="utf-8")
    with pytest.raises(InputError, match=r"b\.json: is no finished variation"):
        journal.read("b")
