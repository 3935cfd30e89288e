"""`wobble signatures`: what one unit of each parameter does, from the command line."""

import json

import numpy as np
import pytest
from astropy.table import QTable
from click.testing import CliRunner

from wobble.cli import main
from wobble.constants import MAS


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    path = tmp_path_factory.mktemp("signatures") / "campaign.toml"
    text = short_text.replace("stop = 2031-07-01", "stop = 2031-05-25")
    text = text.replace('use = ["alder", "broom", "cliff"]', 'use = ["broom"]')
    path.write_text(text, encoding="utf-8")
    return path


def wobble(*arguments):
    return CliRunner().invoke(main, ["signatures", *map(str, arguments)])


def test_the_table_has_the_sizes_known_by_hand(scenario, tmp_path):
    # R cos(4.6 deg) 1 mas = 16.4 mm of range at most when the Earth rises or sets, times the
    # spin rate 7.0882e-5 rad/s when it culminates; a season's cosine is at most one.
    result = wobble(scenario, "--parameter", "spin.annual_*", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    assert "broom to heron" in result.output
    assert "spin.annual_cos, by 1 mas:" in result.output
    table = QTable.read(tmp_path / "signatures.ecsv")
    assert table["parameter"].tolist() == ["spin.annual_cos", "spin.annual_sin"]
    most = 3396e3 * np.cos(np.radians(4.6)) * MAS
    both = np.hypot(*table["pass_range"].to_value("m"))
    assert 0.5 * most < both < most
    assert np.hypot(*table["pass_range_rate"].to_value("m/s")) < most * 7.0882e-5
    # The formulas leave out v/c and the angle between the legs, some 1e-4.
    for column in ("pass_range", "pass_range_rate", "season_range", "season_range_rate"):
        np.testing.assert_allclose(table[f"{column}_formula_ratio"], 1.0, atol=1e-3)
    assert {p.name for p in (tmp_path / "figures").iterdir()} == {"pass_1.svg", "season_1.svg"}
    drawn = [
        (tmp_path / "figures" / f"{what}_1.svg").read_text("utf-8") for what in ("pass", "season")
    ]
    assert ["antenna west" in svg for svg in drawn] == [False, True]


def test_json_tells_what_has_no_part_and_what_has_no_formula(scenario):
    options = [scenario, "--parameter", "ephemeris.mars.radial", "--json"]
    result = wobble(*options, "--parameter", "station.broom.range_bias")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    (row,) = found["signatures"]
    # A planet a metre farther off is a metre of range, but for the light time's cosine.
    assert row["pass_range"] == pytest.approx(1.0, abs=1e-3)
    assert row["pass_range_formula_ratio"] is None
    assert found["no_part"] == ["station.broom.range_bias"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--parameter", "spin.anual_cos"], "spin.annual_cos"),
        (["--station", "brom"], "perhaps 'broom'"),
        (["--lander", "wren"], "one of heron"),
        (["--parameter", "station.broom.range_bias"], "depend on none of these"),
    ],
)
def test_what_cannot_be_is_refused(options, said, scenario, tmp_path):
    result = wobble(scenario, *options, "--out", tmp_path / "out")
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert not (tmp_path / "out").exists()
