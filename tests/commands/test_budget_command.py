"""The table of a budget as it is printed."""

from __future__ import annotations

import json

import pytest
from astropy.table import QTable
from click.testing import CliRunner

from wobble.cli import main


def wobble(*arguments):
    return CliRunner().invoke(main, ["budget", *map(str, arguments)])


def test_the_table_fits_sixty_columns_and_is_that_of_the_file(short_scenario, tmp_path):
    out = tmp_path / "budget"
    result = wobble(short_scenario, "--sun-angle", "20 deg", "--out", out)
    assert result.exit_code == 0, result.output
    printed = result.output.split("written to")[0].splitlines()
    assert max(map(len, printed)) <= 60
    (total,) = (line.split() for line in printed if line.startswith("total"))
    last = QTable.read(out / "budget.ecsv")[-1]
    columns = (last["range_rate"].value, last["range"].value, last["allan_60_s"])
    assert [float(text) for text in total[1:4]] == pytest.approx(columns, rel=0.05)
    assert total[-1] == "100"


def test_json_has_numbers_for_every_contribution(short_scenario):
    content = json.loads(wobble(short_scenario, "--json").stdout)
    assert {len(values) for values in content.values()} == {9}
    assert sum(content["share_of_variance"][:-1]) == pytest.approx(1.0)


def test_total_of_a_lander_s_link_is_that_of_common_practice(short_scenario):
    # Total X-band lander Doppler of 0.03 to 0.1 mm/s at 60 s away from conjunction (common
    # practice, no source); the share of the plasma grows toward the Sun.
    def total(angle):
        content = json.loads(wobble(short_scenario, "--sun-angle", angle, "--json").stdout)
        return content["range_rate"][-1]

    assert 0.02 < total("170 deg") < 0.1
    for angle in ("20 deg", "45 deg", "90 deg", "120 deg"):
        assert 0.03 < total(angle) < 0.1
    assert total("3 deg") > 1.0
