"""Stations of a scenario: from frames, with ocean loading, and what is wrong with them."""

from pathlib import Path

import numpy as np
import pytest
from astropy.time import Time
from test_blq import SAMPLE as BLQ
from test_sinex import JUMPS
from test_sinex import SAMPLE as FRAME

import wobble
from wobble.constants import JULIAN_YEAR
from wobble.errors import InputError, UnknownNameError
from wobble.scenario.station_sections import read_stations, without_ocean_loading
from wobble.text.toml_section import read_toml

OWN = """
[station.elm]
x = "4581691.9 m"
y = "556196.4 m"
z = "4389355.3 m"
"""
EARLY = (Time("2011-01-01"), Time("2012-06-01"))
LATE = (Time("2031-05-01"), Time("2033-05-01"))


def read(folder: Path, text: str, span=LATE):
    for name, content in (("frame.snx", FRAME), ("jumps.snx", JUMPS), ("load.blq", BLQ)):
        if not (folder / name).exists():
            (folder / name).write_text(content)
    (folder / "scenario.toml").write_text(text)
    stations = read_stations(read_toml(folder / "scenario.toml"), span)
    return {station.name: station for station in stations}


# ------------------------------------------------------------------- frames


def test_a_frame_gives_place_drift_and_epoch(tmp_path):
    # Typed from the file: metres at 2015.0, metres a year.
    stations = read(tmp_path, '[stations]\nsinex = "frame.snx"\nuse = ["1111"]\n')
    found = stations["1111"]
    assert found.position.tolist() == [4581692.9389, 556196.3678, 4389355.2869]
    np.testing.assert_allclose(found.velocity * JULIAN_YEAR, [-0.01388, 0.01886, 0.01117])
    assert found.epoch == pytest.approx(2015.0, abs=2e-3)


def test_the_solution_is_the_one_of_the_span(tmp_path):
    text = '[stations]\nsinex = "frame.snx"\ndiscontinuities = "jumps.snx"\nuse = ["1111"]\n'
    early, late = (read(tmp_path, text, span)["1111"] for span in (EARLY, LATE))
    # The antenna was moved by a metre on 2014-07-09.
    assert late.position[0] - early.position[0] == pytest.approx(1.0)
    assert early.valid[1] == late.valid[0] == pytest.approx(2014.52, abs=0.01)


def test_a_jump_within_the_span_is_refused(tmp_path):
    text = '[stations]\nsinex = "frame.snx"\ndiscontinuities = "jumps.snx"\nuse = ["1111"]\n'
    across = (Time("2014-01-01"), Time("2015-01-01"))
    with pytest.raises(InputError, match=r"site 1111.*jumps within the span.*before 2014\.5"):
        read(tmp_path, text, across)


def test_a_gap_between_two_solutions_is_refused(tmp_path):
    text = '[stations]\nsinex = "frame.snx"\nuse = ["1111"]\n'
    with pytest.raises(InputError, match="no solution of the site holds"):
        read(tmp_path, text, (Time("2014-07-05"), Time("2014-07-06")))


def test_without_a_span_there_must_be_one_solution(tmp_path):
    with pytest.raises(InputError, match="start and stop of the campaign"):
        read(tmp_path, '[stations]\nsinex = "frame.snx"\nuse = ["1111"]\n', None)


def test_a_site_is_known_by_its_domes_number_and_may_have_another_name(tmp_path):
    text = """
[stations]
sinex = "frame.snx"
use = ["10001S001"]
names = { "10001S001" = "hill" }

[station.hill]
mask = "12 deg"
axis_offset = "2 m"
mount = "equatorial"
clock_offset = "250 ns"
"""
    (hill,) = read(tmp_path, text).values()
    assert hill.name == "hill"
    assert hill.position[0] == 4581692.9389
    assert hill.mask.at(np.array([1.0]))[0] == pytest.approx(np.radians(12.0))
    assert (hill.axis_offset, hill.mount) == (2.0, "equatorial")
    assert hill.clock_offset == pytest.approx(250e-9)


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ('use = ["111l"]', UnknownNameError, r"perhaps '1111'"),
        ('use = ["2222"]', InputError, "no velocity of site 2222"),
        ('use = ["1111"]\nnames = { 2222 = "b" }', UnknownNameError, "unknown site"),
        ('use = ["1111"]\ncatalogue = "c.toml"', InputError, "catalogue as well"),
        ('use = ["1111"]\n[station.1111]\nx = "1 m"', UnknownNameError, "unknown key"),
        ('use = ["1111", "10001S001"]\nnames = {1111 = "a", 10001S001 = "a"}', InputError, "two"),
    ],
)
def test_what_does_not_fit_a_frame_is_refused(tmp_path, text, error, message):
    with pytest.raises(error, match=message):
        read(tmp_path, f'[stations]\nsinex = "frame.snx"\n{text}\n')


def test_an_empty_frame_is_refused(tmp_path):
    (tmp_path / "frame.snx").write_text("")
    with pytest.raises(InputError, match="empty"):
        read(tmp_path, '[stations]\nsinex = "frame.snx"\n')


# ------------------------------------------------------------------- ocean loading


@pytest.mark.parametrize("site", ["STATION A", "station a"])
def test_a_station_takes_the_block_of_its_site(tmp_path, site):
    text = f'[stations]\nocean_loading = "load.blq"\n{OWN}site = "{site}"\n'
    loading = read(tmp_path, text)["elm"].ocean_loading
    assert loading.amplitudes[0].tolist() == [0.00352, 0.00144, 0.00086]


@pytest.mark.parametrize("block", ["ELM", "elm", "1234 ELM"])
def test_a_station_takes_the_block_of_its_own_name(tmp_path, block):
    (tmp_path / "load.blq").write_text(BLQ.replace("STATION A", block))
    stations = read(tmp_path, f'[stations]\nocean_loading = "load.blq"\n{OWN}')
    assert stations["elm"].ocean_loading is not None


@pytest.mark.parametrize("block", ["1111", "10001S001", "1111 10001S001"])
def test_a_site_of_a_frame_takes_the_block_of_its_code_or_number(tmp_path, block):
    (tmp_path / "load.blq").write_text(BLQ.replace("STATION A", block))
    text = """
[stations]
sinex = "frame.snx"
use = ["1111"]
names = { 1111 = "hill" }
ocean_loading = "load.blq"
"""
    assert read(tmp_path, text)["hill"].ocean_loading is not None


def test_stations_without_a_block_are_named(tmp_path):
    stations = read(tmp_path, f'[stations]\nocean_loading = "load.blq"\n{OWN}')
    assert without_ocean_loading(tuple(stations.values())) == ["no ocean loading is known of elm"]


def test_two_blocks_for_one_station_are_refused(tmp_path):
    second = BLQ[BLQ.index("  STATION A") :]
    both = BLQ.replace("STATION A", "ELM 1") + second.replace("STATION A", "ELM 2")
    (tmp_path / "load.blq").write_text(both)
    with pytest.raises(InputError, match="several blocks"):
        read(tmp_path, f'[stations]\nocean_loading = "load.blq"\n{OWN}')


def test_a_scenario_carries_the_warning_into_its_solution(short_text, tmp_path, short_passes):
    blq = BLQ.replace("STATION A", "alder")
    (tmp_path / "load.blq").write_text(blq)
    text = short_text.replace("[stations]", '[stations]\nocean_loading = "load.blq"')
    (tmp_path / "campaign.toml").write_text(text)
    campaign = wobble.read_scenario(tmp_path / "campaign.toml")
    warning = "no ocean loading is known of broom, cliff"
    assert campaign.warnings == (warning,)
    tracking = campaign.simulate(short_passes)
    solution = campaign.fit(tracking)
    assert warning in solution.warnings
    assert warning in solution.as_json()["warnings"]
    assert f"warning: {warning}" in str(solution)


# ------------------------------------------------------------------- the station itself


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('axis_offset = "2 s"', "axis_offset.*does not convert to m"),
        ("axis_offset = 2.0", "axis_offset"),
        ('axis_offset = "200 m"', "out of range"),
        ('clock_offset = "3 h"', "clock_offset.*out of range"),
        ('mount = "x-y eats"', r"unknown mount.*perhaps 'x-y east'"),
        ('zenith_wet_delay = "nan m"', "zenith_wet_delay"),
    ],
)
def test_hardware_that_cannot_be_is_refused(tmp_path, line, message):
    with pytest.raises(InputError, match=message):
        read(tmp_path, OWN + line)
