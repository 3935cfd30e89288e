"""A fit that does not describe its data says so first, and its exit status too."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from astropy.time import TimeDelta
from click.testing import CliRunner, Result
from scenario_text import changed

from wobble.cli import main
from wobble.files.measurement_table import passes_text
from wobble.measurements.tracking import Tracking

WEST = (r'longitude = "137.4 deg"', 'longitude = "-137.4 deg"')


def wobble(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def late(seconds: float):
    def damage(data: Tracking) -> Tracking:
        return replace(data, epoch=data.epoch + TimeDelta(seconds, format="sec"))

    return damage


def rates_times(factor: float):
    def damage(data: Tracking) -> Tracking:
        rate = data.kind == "range_rate"
        return replace(data, value=np.where(rate, factor * data.value, data.value))

    return damage


def sound(data: Tracking) -> Tracking:
    return data


MISTAKES = {
    "times 37 s late": (late(37.0), None, "TAI taken for UTC"),
    "times 30 s late": (late(30.0), None, ""),
    "range rates doubled": (rates_times(2.0), None, "are two-way, taken for one-way"),
    "west longitude": (sound, WEST, "is west, taken for east"),
}


@pytest.fixture(scope="module")
def month(short_tracking: Tracking) -> Tracking:
    names = list(dict.fromkeys(short_tracking.pass_id.tolist()))[:9]
    return short_tracking[np.isin(short_tracking.pass_id, names)]


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_model_that_does_not_describe_its_data_says_so_first(
    mistake: str, month: Tracking, short_text: str, tmp_path: Path
) -> None:
    damage, change, why = MISTAKES[mistake]
    scenario, data, out = (tmp_path / name for name in ("campaign.toml", "data.ecsv", "out"))
    scenario.write_text(changed(short_text, change) if change else short_text, encoding="utf-8")
    data.write_text(passes_text(damage(month)), encoding="utf-8")
    result = wobble("fit", scenario, data, "--out", out)
    if result.exit_code == 2:  # no solution at all is an honest end, too
        assert "no convergence" in result.stderr or "cannot be computed" in result.stderr
        assert why in result.stderr
        return
    assert result.exit_code in (1, 3), result.output
    if result.exit_code == 1:
        assert result.stderr.startswith("wobble: no ")
        assert why in result.stderr
        return
    assert result.stdout.startswith("THE MODEL DOES NOT DESCRIBE THE DATA: ")
    assert why in " ".join(result.stdout.split())
    assert ("a usual mistake would explain it" in result.stdout) == bool(why)
    assert "not to be used" in result.stdout.split("parameter", 1)[1]
    content = json.loads((out / "solution.json").read_text(encoding="utf-8"))
    assert content["describes_data"] is False
    # Whoever reads the folder hears of it.
    assert "DOES NOT DESCRIBE" in wobble("compare", out, out).stderr
    report = wobble("report", scenario, out)
    assert report.exit_code == 0
    assert "DOES NOT DESCRIBE" in report.stderr
    assert 'class="verdict"' in (out / "report.html").read_text(encoding="utf-8")


def test_of_sound_data_nothing_is_said(month: Tracking, short_scenario: Path, tmp_path: Path):
    data, out = tmp_path / "data.ecsv", tmp_path / "out"
    data.write_text(passes_text(month), encoding="utf-8")
    result = wobble("fit", short_scenario, data, "--out", out)
    assert result.exit_code == 0
    assert result.stdout.startswith("Solution from ")
    assert "not to be used" not in result.stdout
    assert json.loads((out / "solution.json").read_text(encoding="utf-8"))["verdict"] == "fits"
