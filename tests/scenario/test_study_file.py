"""Study files: any key of a scenario by its dotted name."""

import re
from pathlib import Path

import pytest
from astropy.time import Time

from wobble.errors import InputError
from wobble.scenario.study_file import read_study

STATIONS = Path(__file__).parents[2] / "synthetic_passes" / "stations.toml"
HEAD = """
[study]
name = "A study"
scenario = "campaign.toml"
quantities = ["core.factor"]
"""


@pytest.fixture
def study(short_text, tmp_path):
    (tmp_path / "campaign.toml").write_text(short_text, encoding="utf-8")

    def read(text, head=HEAD):
        (tmp_path / "study.toml").write_text(head + text, encoding="utf-8")
        return read_study(tmp_path / "study.toml")

    return read


def listed(**changes):
    lines = (f'"{name}" = {value}' for name, value in changes.items())
    return '\n[[variation]]\nname = "one"\n[variation.change]\n' + "\n".join(lines)


def only(study, name, value):
    (variation,) = study(listed(**{name: value})).variations
    return variation.campaign()


def test_every_combination_of_a_grid_is_a_variation(study):
    found = study('[grid]\n"campaign.seed" = [1, 2, 3]\n"schedule.rest" = ["20 h", "1 d"]')
    assert found.axes == ("campaign.seed", "schedule.rest")
    assert [v.name for v in found.variations] == [
        "1, 20 h", "1, 1 d", "2, 20 h", "2, 1 d", "3, 20 h", "3, 1 d",
    ]  # fmt: skip
    assert [v.campaign().seed for v in found.variations] == [1, 1, 2, 2, 3, 3]
    assert found.variations[1].campaign().rule.rest == 86400.0
    assert len({v.key for v in found.variations}) == 6


def test_keys_of_every_table_can_be_varied(study):
    varied = only(study, "campaign.start", "2031-06-01")
    assert varied.span[0] == Time("2031-06-01")
    varied = only(study, "lander.heron.antenna.west.azimuth", '"200 deg"')
    west = varied.landers[0].antennas[1]
    assert (west.name, west.azimuth) == ("west", pytest.approx(3.490658503988659))
    budget = only(study, "noise.thermal_phase.carrier_to_noise_density_db", "33").budget
    assert "33" in repr([c for c in budget.contributions if "Thermal" in type(c).__name__])
    assert len(only(study, "noise.solar_plasma.enabled", "false").budget.contributions) == 7
    assert [s.name for s in only(study, "stations.use", '["broom"]').stations] == ["broom"]
    sigma = only(study, "estimate.a_priori.pole.precession_rate", '"3 mas/yr"').parameters
    assert sigma["pole.precession_rate"].sigma / sigma["pole.precession_rate"].scale == (
        pytest.approx(3.0)
    )
    # A key that the scenario leaves to its default, and one with dots of its own.
    assert only(study, "link.uplink_frequency", '"32 GHz"').frequency == 32e9
    assert only(study, "rotation.core.factor", '"0.08"').parameters["core.factor"].value == 0.08


def test_a_second_lander_is_there_or_not(study):
    wren = '{longitude = "3 deg", latitude = "-40 deg", height = "0 m"}'
    found = study(f'[grid]\n"lander.wren" = [false, {wren}]')
    assert [[x.name for x in v.campaign().landers] for v in found.variations] == [
        ["heron"],
        ["heron", "wren"],
    ]
    assert [v.changes["lander.wren"] for v in found.variations] == ["no", "given"]
    left = study('[grid]\n"truth" = [true, false]').variations
    assert [bool(v.campaign().truth) for v in left] == [True, False]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", r"study\.toml: grid: the study varies nothing"),
        ("[grid]", r"varies nothing"),
        ('[grid]\n"schedule.rest" = "1 d"', r"line 7: grid\.schedule\.rest: is no list"),
        ('[grid]\n"schedule.rest" = []', "is no list"),
        ('[grid]\n"schedule.rest" = ["1 d", "1 d"]', "has a value twice"),
        ('[grid]\n"lander.hreon.latitude" = ["1 deg"]', r"line 7: lander\.hreon.*cannot be varied"),
        ('[grid]\n"lander.heron.latitude.x" = ["1 deg"]', "latitude is no table"),
        ('[grid]\n"noise.thermal" = [true]', "array"),
        ('[grid]\n"campaign.seed" = [1]\n' + listed(a=1), "either a grid or a list"),
        (listed(a=1) + listed(a=1), "is given twice"),
    ],
)
def test_what_cannot_be_varied_is_refused(text, said, study):
    with pytest.raises(InputError, match=said):
        study(text)


def test_wrong_heads_are_refused(study):
    grid = '[grid]\n"campaign.seed" = [1]'
    with pytest.raises(InputError, match=r"line 5: study\.quantities.*perhaps 'core\.factor'"):
        study(grid, HEAD.replace("core.factor", "core.facter"))
    with pytest.raises(InputError, match=r"study.scenario: the file is not found.*nowhere"):
        study(grid, HEAD.replace("campaign.toml", "nowhere.toml"))
    with pytest.raises(InputError, match="asks for nothing"):
        study(grid, HEAD.replace('["core.factor"]', "[]"))
    with pytest.raises(InputError, match=re.escape("study: unknown key")):
        study(grid, HEAD + "planets = 3\n")


def test_a_wrong_value_is_the_variations_own(study):
    (variation,) = study(listed(**{"schedule.rest": '"1 km"'})).variations
    with pytest.raises(InputError, match=r"campaign\.toml, line \d+: schedule\.rest"):
        variation.campaign()


def test_a_key_depends_on_every_file_that_the_scenario_names(study, tmp_path):
    stations = tmp_path / "stations.toml"
    stations.write_text(STATIONS.read_text("utf-8"), encoding="utf-8")
    use = listed(**{"stations.catalogue": '"stations.toml"'})
    grid = '[grid]\n"stations.catalogue" = ["stations.toml"]'
    assert study(use).variations[0].key == study(grid).variations[0].key
    before = study(use).variations[0].key
    with stations.open("a", encoding="utf-8") as file:
        file.write("# moved\n")
    assert study(use).variations[0].key != before
