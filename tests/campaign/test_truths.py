"""What a scenario's truth says is in the data, whatever the parameter; and comes out again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy.time import Time, TimeDelta
from click.testing import CliRunner
from scenario_text import changed

import wobble
from wobble.cli import main
from wobble.estimation.tracking_model import pass_geometry

HEAD = r"\[estimate\.a_priori\][^\n]*\n"
OSCILLATOR = """
[lander.heron.oscillator]
frequency = "8.4 GHz"
bias = 1e-8
drift = "1e-16 1/s"
epoch = 2031-05-01T00:00:00
"""


def scenario(text: str, folder: Path, *changes: tuple[str, str]) -> Path:
    path = folder / "campaign.toml"
    path.write_text(changed(text, *changes), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "size", "si", "kinds"),
    [
        ("station.broom.range_bias", "5 m", 5.0, {"range"}),
        ("lander.heron.zenith_delay", "40 mm", 0.04, {"range", "range_rate"}),
        ("lander.heron.transponder_delay", "20 ns", 2e-8, {"range"}),
        ("station.broom.zenith_wet_delay", "50 mm", 0.05, {"range", "range_rate"}),
    ],
)
def test_a_truth_is_in_the_measurements_as_its_derivative_says(
    name: str, size: str, si: float, kinds: set[str], short_text: str, tmp_path: Path
) -> None:
    path = scenario(short_text, tmp_path, (r"\[truth\]\n", f'[truth]\n"{name}" = "{size}"\n'))
    campaign = wobble.read_scenario(path)
    without = wobble.read_scenario(scenario(short_text, tmp_path))
    passes = without.schedule(without.view_periods())
    data, bare = campaign.simulate(passes, seed=1), without.simulate(passes, seed=1)
    added = data.value - bare.value
    partial = without.network(bare).compute(bare, [name]).partials[:, 0]
    touched = np.isin(bare.kind, list(kinds)) & (partial != 0.0)
    assert touched.any()
    assert np.abs(added[~touched]).max(initial=0.0) < 1e-4
    for kind in kinds:
        of_kind = touched & (bare.kind == kind)
        scale = np.abs(si * partial[of_kind]).max()
        # Noise follows the air at most: a thousandth of what is added, and rounding of a range.
        assert np.abs(added - si * partial)[of_kind].max() < 5e-3 * scale + 1e-4 * (kind == "range")


def test_every_parameter_of_a_scenario_is_one_of_its_network(short_campaign: wobble.Campaign):
    assert set(short_campaign.parameters.names) == set(short_campaign.plan_network.values)


def test_a_station_s_range_bias_comes_out_again(short_text: str, tmp_path: Path) -> None:
    path = scenario(
        short_text,
        tmp_path,
        (r"\[truth\]\n", '[truth]\n"station.broom.range_bias" = "5 m"\n'),
        (r"(?m)^parameters = \[", 'parameters = ["station.broom.range_bias", '),
        (HEAD, '[estimate.a_priori]\n"station.broom.range_bias" = "20 m"\n'),
    )
    campaign = wobble.read_scenario(path)
    data = campaign.simulate(campaign.schedule(campaign.view_periods()), seed=2)
    estimate = campaign.fit(data)["station.broom.range_bias"]
    assert estimate.sigma < 2.0
    assert estimate.value == pytest.approx(5.0, abs=3.5 * estimate.sigma)


@pytest.mark.parametrize("name", ["lander.heron.transponder_delay", "lander.heron.zenith_delay"])
def test_a_rehearsal_estimates_any_parameter_of_the_link(
    name: str, short_text: str, tmp_path: Path
) -> None:
    path = scenario(
        short_text,
        tmp_path,
        (r"(?m)^parameters = \[", f'parameters = ["{name}", '),
        (
            HEAD,
            f'[estimate.a_priori]\n"{name}" = "{"1 mm" if "zenith" in name else "20 ns"}"\n',
        ),
    )
    result = CliRunner().invoke(main, ["run", str(path), "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert name in result.stdout
    assert name in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_a_rehearsal_of_one_way_passes_ends_with_a_report(short_text: str, tmp_path: Path) -> None:
    text = changed(
        short_text,
        (r"\[schedule\]", '[schedule]\nlink = "one_way"'),
        (r"(?m)^parameters = \[", 'parameters = ["lander.heron.oscillator_bias", '),
        (
            HEAD,
            '[estimate.a_priori]\n"lander.heron.oscillator_bias" = 1e-7\n',
        ),
    )
    path, out = tmp_path / "campaign.toml", tmp_path / "out"
    path.write_text(text + OSCILLATOR, encoding="utf-8")
    result = CliRunner().invoke(main, ["run", str(path), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "rms one_way_range_rate_mm_s" in result.stdout
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "one-way range rate" in page
    again = CliRunner().invoke(main, ["report", str(path), str(out)])
    assert again.exit_code == 0, again.output


def test_counts_through_a_leap_second_do_not_overlap(short_text: str, tmp_path: Path) -> None:
    # 2016-12-31 has 86401 seconds (IERS Bulletin C 52): counts of 60 s through its end, in a row.
    path = scenario(
        short_text,
        tmp_path,
        (r"start = 2031-05-01", "start = 2016-12-01"),
        (r"stop = 2031-07-01", "stop = 2017-01-31"),
    )
    campaign = wobble.read_scenario(path)
    passes = campaign.schedule(campaign.view_periods())
    tags = campaign.simulate(passes)
    rates = tags[(tags.kind == "range_rate") & (tags.pass_id == tags.pass_id[0])]
    start = Time("2016-12-31T23:50:30", scale="utc")
    epoch = (start.tai + TimeDelta(60.0 * np.arange(len(rates)), format="sec")).utc
    moved = wobble.Tracking(
        **{
            name: getattr(rates, name)
            for name in (
                *("pass_id", "transmitter", "receiver", "lander", "kind", "tag"),
                *("count_time", "value", "sigma", "frequency"),
            )
        },
        epoch=epoch,
    )
    assert set(moved.count_time) == {60.0}
    computed = campaign.plan_network.compute(rates)
    geometry = pass_geometry(moved, computed, np.arange(len(rates)))
    assert np.abs(np.diff(geometry.time) - 60.0).max() < 1e-4
