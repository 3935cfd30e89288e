"""The table of a budget as it is printed."""

from __future__ import annotations

import json

import numpy as np
import pytest
from astropy.table import QTable
from click.testing import CliRunner
from scenario_text import changed

from wobble.cli import main

ONLY_ITS_RATE = '[estimate]\nparameters = ["spin.rate"]\n'


def wobble(*arguments):
    return CliRunner().invoke(main, ["budget", *map(str, arguments)])


@pytest.fixture
def inner_scenario(short_text, tmp_path):
    """The demonstration on a planet that is never far from the Sun."""
    text = changed(
        short_text,
        ('body = "mars"', 'body = "venus"'),
        (
            r"(?s)\[estimate\].*?(?=\[data\.agreement\]\n)",
            ONLY_ITS_RATE,
        ),
    )
    path = tmp_path / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


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
    content.pop("parameters")
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


def test_the_distance_is_that_of_the_planet_at_the_sun_angle(short_scenario):
    # At 10 deg Mars is beyond the Sun: cos(10 deg) + sqrt(1.524^2 - sin(10 deg)^2) = 2.50 au with
    # its mean distance of 1.524 au; at 170 deg it is 0.53 au away.
    for angle, distance in (("10 deg", 2.499), ("170 deg", 0.529)):
        content = json.loads(wobble(short_scenario, "--sun-angle", angle, "--json").stdout)
        assert content["distance"] == pytest.approx([distance] * 9, rel=2e-3)
    told = wobble(short_scenario, "--sun-angle", "10 deg").stdout
    assert "beyond the Sun, at 2.5 au (orbit: 2.3" in told


def test_a_distance_that_is_given_counts_and_is_told_beside_that_of_the_orbit(short_scenario):
    arguments = (short_scenario, "--sun-angle", "10 deg", "--distance", "1 au")
    assert json.loads(wobble(*arguments, "--json").stdout)["distance"] == [1.0] * 9
    assert "at 1 au, as given; its orbit gives 2.5 au" in wobble(*arguments).stdout


def test_an_inner_planet_has_two_budgets(inner_scenario, tmp_path):
    out = tmp_path / "budget"
    result = wobble(inner_scenario, "--sun-angle", "30 deg", "--out", out)
    assert result.exit_code == 0, result.output
    # cos(30 deg) -+ sqrt(0.7233^2 - sin(30 deg)^2) = 0.343 and 1.389 au.
    assert "before the Sun, at 0.343 au" in result.stdout
    assert "beyond the Sun, at 1.39 au" in result.stdout
    assert max(map(len, result.stdout.split("written to")[0].splitlines())) <= 60
    table = QTable.read(out / "budget.ecsv")
    totals = table[table["contribution"] == "total"]
    assert list(totals["place"]) == ["before the Sun", "beyond the Sun"]
    assert not np.isclose(*totals["range_rate"].value, rtol=1e-3)
    assert len(list((out / "figures").iterdir())) == 4


def test_without_a_sun_angle_an_inner_planet_is_at_its_elongation(inner_scenario):
    result = wobble(inner_scenario)
    assert result.exit_code == 0, result.output
    assert "46.3 deg from the Sun" in result.stdout


def test_an_angle_that_cannot_be_says_what_can(short_scenario, inner_scenario):
    within = wobble(short_scenario, "--sun-angle", "0 deg")
    assert within.exit_code == 2
    assert "more than 0.27 deg, the radius of the Sun's disc" in within.output
    beyond = wobble(inner_scenario, "--sun-angle", "90 deg")
    assert beyond.exit_code == 2
    assert "venus is never seen so far from the Sun" in beyond.output
    assert "its greatest elongation" in beyond.output
    negative = wobble(short_scenario, "--distance", "-1 au")
    assert negative.exit_code == 2
    assert "--distance: is not positive" in negative.output


def test_every_parameter_is_shown_with_its_value_and_where_it_is_from(short_text, tmp_path):
    # The defaults by hand, from the contributions' own tables: 8.42 GHz of the X band, 0.5 m of
    # range calibration; the demonstration states 27 dB Hz, and 0.5 m although it is the default.
    path = tmp_path / "campaign.toml"
    path.write_text(short_text, encoding="utf-8")
    told = json.loads(wobble(path, "--json").stdout)["parameters"]
    by_name = {(row["contribution"], row["parameter"]): row for row in told}
    for name, value, unit, source in (
        (("thermal_phase", "carrier_to_noise_density_db"), 27.0, "dB Hz", "stated"),
        (("thermal_phase", "downlink_frequency"), 8.42e9, "Hz", "default"),
        (("range_calibration", "range_error"), 0.5, "m", "stated"),
        (("transponder", "range_rate"), 2e-5, "m / s", "default"),
        (("transponder", "scale"), 1.0, "", "default"),
    ):
        row = by_name[name]
        assert (row["value"], row["unit"], row["source"]) == (value, unit, source)
    assert {row["contribution"] for row in told} == set(
        json.loads(wobble(path, "--json").stdout)["contribution"][:-1]
    )
    lines = [" ".join(line.split()) for line in wobble(path).stdout.splitlines()]
    assert "carrier_to_noise_density_db 27 dB Hz stated" in lines
    assert "downlink_frequency 8.42e+09 Hz default" in lines
    out = tmp_path / "budget"
    wobble(path, "--out", out)
    assert len(QTable.read(out / "budget_parameters.ecsv")) == len(told)
