"""Fits on the command line: going on from an earlier one, leaving terms out, comparing."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.table import QTable
from astropy.time import Time
from click.testing import CliRunner, Result
from scenario_text import changed

from wobble.cli import main
from wobble.commands.targets import left_after
from wobble.files.measurement_table import passes_text
from wobble.files.results import read_schedule
from wobble.files.solution_files import read_solution
from wobble.measurements.tracking import Tracking
from wobble.scenario.reader import read_scenario

ROOT = Path(__file__).parents[2]
PASS_BIASES = """[estimate.pass_biases]"""
PUBLISHED = """[[estimate.published]]
source = "an earlier lander"
epoch = 1986-06-01T00:00:00
correlation = [[1.0, 0.5], [0.5, 1.0]]
values = {"pole.node_longitude" = "35.4 deg", "pole.obliquity" = "25.2 deg"}
sigmas = {"pole.node_longitude" = "100 mas", "pole.obliquity" = "50 mas"}

[truth]"""


def wobble(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def printed(*arguments: object, status: int = 0) -> dict[str, Any]:
    result = wobble(*arguments, "--json")
    assert result.exit_code == status, result.output
    content: dict[str, Any] = json.loads(result.stdout)
    return content


def refused(said: list[str], *arguments: object) -> None:
    """One message and status 2, which says all of this."""
    result = wobble(*arguments)
    assert result.exit_code == 2, result.output
    message = result.stderr.strip()
    assert message.startswith("wobble: ")
    assert len(message.splitlines()) == 1
    for text in said:
        assert text in message


def variant(folder: Path, text: str, *changes: tuple[str, str]) -> Path:
    """The scenario with parts of its text replaced."""
    path = folder / "campaign.toml"
    path.write_text(changed(text, *changes), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def data(short_tracking: Tracking, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """All measurements, and the same in two files."""
    folder = tmp_path_factory.mktemp("data")
    names = np.array([name for name, _ in short_tracking.passes()])
    first = np.isin(short_tracking.pass_id, names[: len(names) // 2])
    parts = {"all": short_tracking, "old": short_tracking[first], "new": short_tracking[~first]}
    for name, part in parts.items():
        (folder / f"{name}.ecsv").write_text(passes_text(part), encoding="utf-8")
    return {name: folder / f"{name}.ecsv" for name in parts}


@pytest.fixture(scope="module")
def fitted(
    short_scenario: Path, data: dict[str, Path], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    folder = tmp_path_factory.mktemp("fit") / "fitted"
    printed("fit", short_scenario, data["all"], "--out", folder)
    return folder


def lunar(folder: Path, editing: str) -> tuple[Path, dict[str, Path]]:
    """The real lunar ranges, and the same in two files."""
    source = ROOT / "tests" / "data" / "lunar_ranging"
    rows = (source / "normal_points_2015_04.csv").read_text(encoding="utf-8").splitlines()
    first = next(i for i, row in enumerate(rows) if not row.startswith("#")) + 1
    head, body = rows[:first], rows[first:]
    files = {"all": rows, "old": head + body[::2], "new": head + body[1::2]}
    for name, lines in files.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = (source / "scenario.toml").read_text(encoding="utf-8") + editing
    path = folder / "scenario.toml"
    path.write_text(text.replace("normal_points_2015_04", "all"), encoding="utf-8")
    return path, {name: folder / f"{name}.csv" for name in files}


def apart(folder: Path, reference: Path) -> float:
    """Largest distance of the estimates of two fits, in standard deviations of the second."""
    one, other = read_solution(folder), read_solution(reference)
    assert one.names == other.names
    return float((np.abs(one.values - other.values) / other.sigma_formal).max())


def test_a_weak_earlier_fit_is_gone_on_from_as_if_all_data_had_come_at_once(
    short_scenario: Path, data: dict[str, Path], fitted: Path, tmp_path: Path
) -> None:
    # One month alone leaves tens of metres, so far that the information alone is not enough.
    old, both, linear = (tmp_path / name for name in ("old", "both", "linear"))
    printed("fit", short_scenario, data["old"], "--out", old)
    printed("fit", short_scenario, data["new"], "--after", old, "--out", both)
    assert apart(both, fitted) < 1e-9
    np.testing.assert_allclose(
        read_solution(both).covariance_realistic, read_solution(fitted).covariance_realistic, 1e-8
    )
    assert read_solution(both).provenance["continues"] == str(old)
    alone = ("--information", old / "information.ecsv", "--out", linear)
    warnings = printed("fit", short_scenario, data["new"], *alone)["warnings"]
    assert any("only the information is known" in warning for warning in warnings)
    assert 1e-6 < apart(linear, fitted) < 0.1
    # Measurements that are in both count once.
    again = wobble("fit", short_scenario, data["all"], "--after", old, "--out", both)
    assert apart(both, fitted) < 1e-9
    before, count = len(read_solution(old).samples), len(read_solution(fitted).samples)
    assert f"{before} measurements of the fit in {old}, and {count - before} more" in again.output
    assert f"{before} measurements stand twice in the data" in again.output


def test_months_follow_each_other_from_information_that_has_no_measurements(
    short_text: str, short_tracking: Tracking, data: dict[str, Path], tmp_path: Path
) -> None:
    # The weights must not depend on what is fitted together.
    scenario = variant(
        tmp_path, short_text, (r"\[estimate\]", "[editing]\nreweight = false\n\n[estimate]")
    )
    names = np.array([name for name, _ in short_tracking.passes()])
    third = np.array_split(names, 3)
    months = []
    for k, part in enumerate(third):
        months.append(tmp_path / f"month{k}.ecsv")
        chosen = short_tracking[np.isin(short_tracking.pass_id, part)]
        months[-1].write_text(passes_text(chosen), encoding="utf-8")
    one, two, three, direct = (tmp_path / name for name in ("one", "two", "three", "direct"))
    known = ("--information", one / "information.ecsv")
    printed("fit", scenario, months[0], "--out", one)
    printed("fit", scenario, months[1], *known, "--out", two)
    printed("fit", scenario, months[2], "--after", two, "--out", three)
    printed("fit", scenario, months[1], months[2], *known, "--out", direct)
    assert apart(three, direct) < 1e-9
    earlier = read_solution(three).earlier
    assert earlier is not None
    np.testing.assert_array_equal(earlier.reference, read_solution(one).values)


def test_real_ranges_are_gone_on_from(tmp_path: Path) -> None:
    # The same weights in all three: components of the parts would differ from those of all.
    scenario, files = lunar(tmp_path, "\n[editing]\nreweight = false\nthreshold = 8.0\n")
    whole, old, both, linear = (tmp_path / name for name in ("whole", "before", "both", "linear"))
    printed("fit", scenario, files["all"], "--out", whole)
    printed("fit", scenario, files["old"], "--out", old)
    printed("fit", scenario, files["new"], "--after", old, "--out", both)
    assert apart(both, whole) < 1e-9
    alone = ("--information", old / "information.ecsv", "--out", linear)
    printed("fit", scenario, files["new"], *alone)
    # A range of 4e8 m in one floating number is good to 6e-8 m, 1e-5 of its standard deviation;
    # of a linear model the same is tested to 1e-9 (test_fit of the estimation).
    assert apart(linear, whole) < 3e-4
    one, two = read_solution(whole), read_solution(linear)
    assert one.n_rejected == 1
    np.testing.assert_allclose(two.sigma_formal, one.sigma_formal, rtol=1e-8)


def test_what_cannot_be_gone_on_from_is_refused(
    fitted: Path, short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    new, information = data["new"], fitted / "information.ecsv"
    refused(["no such folder"], "fit", short_scenario, new, "--after", tmp_path / "nowhere")
    refused(["is not found"], "fit", short_scenario, new, "--information", tmp_path / "no.ecsv")
    twice = ("--after", fitted, "--information", information)
    refused(["count twice", "--information"], "fit", short_scenario, new, *twice)
    drawn = ("--information", information, "--bootstrap", "20")
    refused(["--bootstrap", "only the information"], "fit", short_scenario, new, *drawn)
    bare = tmp_path / "bare"
    shutil.copytree(fitted, bare)
    (bare / "fitted_measurements.ecsv").unlink()
    said = ["does not keep the measurements", f"--information {bare / 'information.ecsv'}"]
    refused(said, "fit", short_scenario, new, "--after", bare)


def test_how_many_more_passes_a_precision_takes(
    short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    old, out = tmp_path / "old", tmp_path / "plan"
    printed("fit", short_scenario, data["old"], "--out", old)
    fit = read_solution(old)
    last = max(fit.samples.epoch.tolist())
    targets = ("--target", "lander.heron.z = 2 m", "--target", "lander.heron.x = 1 km")
    found = printed("plan", short_scenario, "--after", old, *targets, "--out", out)
    more, known = found["targets"]
    assert 1 < more["passes"] < 20
    assert more["reached"] <= 2.0
    assert known["passes"] == 0
    assert "no pass is needed" in known["text"]
    assert found["notes"][0].startswith(f"Further passes, after {last[:10]}: the {fit.n_used} ")
    assert (read_schedule(out / "passes.ecsv").start.isot > last).all()
    # The lander rests for 20 h from the begin of the last pass that was fitted, too.
    begin = min(fit.samples.epoch[fit.samples.pass_name == fit.samples.pass_name[-1]].tolist())
    rest, _, _ = left_after(read_scenario(short_scenario), old)
    assert rest.span is not None
    rested = rest.span[0] - Time(begin, scale="utc")
    assert rested.to_value("h") == pytest.approx(20.0, abs=1e-6)
    precision = QTable.read(out / "precision.ecsv")
    sigma = fit["lander.heron.z"].sigma_formal
    assert precision["lander.heron.z"][0].to_value("m") == pytest.approx(sigma, rel=0.01)
    # The best of all passes, on top of the same.
    wanted = ("--passes", 3, "--for", "lander.heron.z")
    assert printed("choose", short_scenario, "--after", old, *wanted)["sigma"] < sigma
    late = variant(tmp_path, short_scenario.read_text(), ("stop = 2031-07-01", "stop = 2031-05-20"))
    refused(["campaign.stop", "nothing is left"], "plan", late, "--after", old)


def test_terms_are_left_out_and_the_data_asked_whether_they_want_them(
    fitted: Path, short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    smaller, out = tmp_path / "smaller", tmp_path / "evidence"
    # The truth lies 60 m away from where the smaller model holds it: that shifts every pass.
    held = ("--without", "lander.heron.z", "--out", smaller)
    without = printed("fit", short_scenario, data["all"], *held, status=3)
    assert without["verdict_reasons"] == ["samples of 27 of 27 passes are shifted"]
    assert "lander.heron.z" not in without["parameters"]
    found = printed("evidence", fitted, smaller, "--out", out)
    assert found["terms"] == ["lander.heron.z"]
    assert found["verdict"] == "for"
    assert found["strength"] == "very strong evidence for them"
    assert found["probability_by_chance"] < 1e-3
    assert found["chi_square_gain"] == pytest.approx(2.0 * found["log_likelihood_ratio"])
    assert {p.name for p in (out / "figures").iterdir()} == {
        "spectrum-range.svg",
        "spectrum-range-rate.svg",
    }
    assert "the data want" in wobble("evidence", fitted, smaller).output
    backwards = wobble("evidence", smaller, fitted)
    assert backwards.exit_code == 2
    assert "DOES NOT DESCRIBE" in backwards.stderr.splitlines()[0]
    assert "not nested" in backwards.stderr.splitlines()[1]
    refused(["not nested"], "evidence", fitted, fitted)


def test_two_folders_are_compared(
    fitted: Path, short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    printed("fit", short_scenario, data["old"], "--out", tmp_path / "old")
    out = tmp_path / "compared"
    found = printed("compare", fitted, tmp_path / "old", "--out", out)
    first, second = read_solution(fitted), read_solution(tmp_path / "old")
    one = found["parameters"]["lander.heron.x"]
    difference = second["lander.heron.x"].value - first["lander.heron.x"].value
    assert one["difference"] == pytest.approx(difference)
    sigma = np.hypot(first["lander.heron.x"].sigma, second["lander.heron.x"].sigma)
    assert one["in_sigmas"] == pytest.approx(difference / sigma)
    assert (out / "figures" / "differences.svg").exists()
    refused(["no such folder"], "compare", fitted, tmp_path / "nowhere")


def test_the_bootstrap_is_written_and_read_back(
    short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    folder = tmp_path / "drawn"
    result = wobble("fit", short_scenario, data["all"], "--bootstrap", "20", "--out", folder)
    assert result.exit_code == 0, result.output
    assert "bootstrap" in result.stdout
    solution = read_solution(folder)
    assert solution.sigma_bootstrap is not None
    # With the a priori information kept the campaigns scatter less than it allows.
    assert (solution.sigma_bootstrap < 3.0 * solution.sigma_realistic).all()
    summary = json.loads((folder / "solution.json").read_text(encoding="utf-8"))
    written = summary["parameters"]["lander.heron.x"]["sigma_bootstrap"]
    assert written == pytest.approx(
        solution.sigma_bootstrap[solution.names.index("lander.heron.x")]
    )


def test_stations_have_variance_components_of_their_own(
    short_text: str, data: dict[str, Path], tmp_path: Path
) -> None:
    scenario = variant(
        tmp_path, short_text, (r"\[estimate\]", '[editing]\ngroup = "station"\n\n[estimate]')
    )
    out = tmp_path / "fit"
    components = printed("fit", scenario, data["all"], "--out", out)["variance_components"]
    stations = ("alder", "broom", "cliff")
    assert set(components) == {f"{k} {s}" for k in ("range", "range_rate") for s in stations}
    for component in components.values():
        assert component["value"] == pytest.approx(1.0, abs=4.0 * component["uncertainty"])
    assert wobble("report", scenario, out, data["all"]).exit_code == 0


FAULTS = {
    "a zero a priori sigma": (
        ('"pole.node_longitude" = "1000 mas"', '"pole.node_longitude" = "0 mas"'),
        ["must be positive", "pole.node_longitude"],
    ),
    "a negative a priori sigma": (
        (r'"lander\.\*\.\[xyz\]" = "200 m"', '"lander.*.[xyz]" = "-200 m"'),
        ["must be positive", "lander.heron.x"],
    ),
    "an unknown group": (
        (r"\[estimate\]", '[editing]\ngroup = "statoin"\n\n[estimate]'),
        ["statoin", "perhaps 'station'", "editing.group"],
    ),
    "a published sigma of zero": (
        (r"\[truth\]", PUBLISHED.replace("100 mas", "0 mas")),
        ["estimate.published[1].sigmas", "not positive"],
    ),
    "a correlation that does not match": (
        (r"\[truth\]", PUBLISHED.replace("[[1.0, 0.5], [0.5, 1.0]]", "[[1.0]]")),
        ["estimate.published[1].correlation", "1 by 1", "2 by 2"],
    ),
    "a correlation of one": (
        (r"\[truth\]", PUBLISHED.replace("0.5", "1.0")),
        ["not positive definite", "correlation"],
    ),
    "a constraint on what is not estimated": (
        (r"\[truth\]", '[[estimate.constraint]]\ncoefficients = {"spin.angle" = 1.0}\n\n[truth]'),
        ["spin.angle", "is not estimated", "estimate.constraint[1]"],
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_in_what_is_known_beforehand_is_one_message(
    fault: str, short_text: str, data: dict[str, Path], tmp_path: Path
) -> None:
    change, said = FAULTS[fault]
    refused(said, "fit", variant(tmp_path, short_text, change), data["all"])


def test_data_that_cannot_determine_the_parameters_are_refused(
    short_text: str, short_tracking: Tracking, data: dict[str, Path], tmp_path: Path
) -> None:
    nothing_known = (r"(?s)\[estimate\.a_priori\].*?\[estimate\.pass_biases\]", PASS_BIASES)
    scenario = variant(tmp_path, short_text, nothing_known)
    few = tmp_path / "few.ecsv"
    few.write_text(passes_text(short_tracking[:12]), encoding="utf-8")
    refused(["fewer data than parameters", "12 samples"], "fit", scenario, few)
    # Every range has its own bias, and none is known: the spin angle moves with longitude.
    scenario = variant(
        tmp_path, short_text, nothing_known, (r"parameters = \[", 'parameters = ["spin.angle", ')
    )
    message = ["cannot separate", "spin.angle", "lander.heron.x", "lander.heron.y"]
    refused(message, "fit", scenario, data["all"])
    # The demonstration has no measurement at this station.
    scenario = variant(
        tmp_path,
        short_text,
        (r"parameters = \[", 'parameters = ["station.cliff.range_bias", '),
        (r"\[estimate\.a_priori\].*\n", '[estimate.a_priori]\n"station.*.range_bias" = "none"\n'),
    )
    others = tmp_path / "others.ecsv"
    others.write_text(
        passes_text(short_tracking[short_tracking.receiver != "cliff"]), encoding="utf-8"
    )
    refused(["no datum depends", "station.cliff.range_bias"], "fit", scenario, others)


def test_files_that_do_not_belong_together_are_refused(
    fitted: Path, short_scenario: Path, data: dict[str, Path], tmp_path: Path
) -> None:
    other = tmp_path / "other"
    shutil.copytree(fitted, other)
    path = other / "covariance.ecsv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("core.factor", "core.radius"), encoding="utf-8")
    refused(["does not match", "covariance.ecsv", "core.radius"], "compare", fitted, other)
    path = other / "information.ecsv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("core.factor", "core.radius"), encoding="utf-8")
    out = tmp_path / "out"
    refused(
        ["not estimated", "core.radius"],
        *("fit", short_scenario, data["new"], "--information", path, "--out", out),
    )
    assert not out.exists()
