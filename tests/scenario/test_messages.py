"""What faults are called: nearest names, files that are not there, units of the trade."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner
from scenario_text import changed

import wobble
from wobble.cli import main
from wobble.errors import InputError


def fault(text, tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        wobble.read_scenario(path)
    return str(caught.value)


MISTYPED = [
    ("campaign", "name", "nme"),
    ("campaign", "start", "sart"),
    ("lander.heron", "longitude", "longitde"),
    (r"lander.heron.antenna", "half_width", "halfwidth"),
    ("link", "turnaround", "turnarond"),
    ("schedule", "passes_per_week", "pases_per_week"),
    ("schedule", "count_time", "count_tme"),
    ("noise", "contribution", "contribtion"),
    ("noise", "carrier_to_noise_density_db", "carier_to_noise_density_db"),
    ("estimate", "parameters", "parmeters"),
    ("estimate.pass_biases", "range_rate", "range_rat"),
    ("data.agreement", "two_way_range", "two_way_rnge"),
]


@pytest.mark.parametrize(("section", "key", "wrong"), MISTYPED)
def test_a_mistyped_key_is_answered_with_the_nearest(section, key, wrong, short_text, tmp_path):
    pattern = rf"(?sm)(^\[+{re.escape(section)}\].*?^){key}( *=)"
    text = changed(short_text, (pattern, rf"\g<1>{wrong}\g<2>"))
    number = next(k for k, line in enumerate(text.splitlines(), 1) if line.startswith(wrong))
    said = fault(text, tmp_path)
    assert repr(wrong) in said
    assert re.search(rf"perhaps '{key}'|\.{key}: a key is missing", said)
    assert f"line {number}" in said


@pytest.mark.parametrize(
    ("header", "wrong", "right"),
    [
        ("[campaign]", "[campain]", "campaign"),
        ("[schedule]", "[schedle]", "schedule"),
        ("[estimate]", "[estimae]", "estimate"),
        ("[truth]", "[trth]", "truth"),
    ],
)
def test_a_mistyped_table_is_answered_with_the_nearest(header, wrong, right, short_text, tmp_path):
    said = fault(changed(short_text, (re.escape(header), wrong)), tmp_path)
    assert f"unknown key; found {wrong.strip('[]')!r}; expected perhaps {right!r}" in said


@pytest.mark.parametrize(
    ("before", "key", "added"),
    [
        ("[data.agreement]", "weather.files", '[weather]\nfiles = ["air.ecsv"]\n\n'),
        ("[data.agreement]", "media.files", '[media]\nfiles = ["air.ecsv"]\n\n'),
        ("seed = ", "campaign.earth_orientation", 'earth_orientation = "air.ecsv"\n'),
        ("use = ", "stations.ocean_loading", 'ocean_loading = "air.ecsv"\n'),
        ("transponder_delay", "lander.heron.mask_file", 'mask_file = "air.ecsv"\n'),
    ],
)
def test_a_file_that_is_not_there_is_told_where_it_is_named(
    before, key, added, short_text, tmp_path
):
    text = changed(short_text, (re.escape(before), lambda found: added + found[0]))
    number = next(k for k, line in enumerate(text.splitlines(), 1) if "air.ecsv" in line)
    said = fault(text, tmp_path)
    assert f"campaign.toml, line {number}: {key}: the file is not found" in said
    assert "air.ecsv" in said
    assert "Errno" not in said


def test_a_file_of_data_that_is_not_there_is_told_where_it_is_named(short_text, tmp_path):
    path = tmp_path / "campaign.toml"
    head = '[data]\nfiles = ["passes.ecsv"]\n\n[data.agreement]\n'
    text = changed(short_text, (r"\[data\.agreement\]\n", head))
    path.write_text(text, encoding="utf-8")
    number = next(k for k, line in enumerate(text.splitlines(), 1) if "passes.ecsv" in line)
    wobble.read_scenario(path)  # a plan is made before there are data
    done = CliRunner().invoke(main, ["fit", str(path)])
    assert done.exit_code == 2
    assert f"campaign.toml, line {number}: data.files: the file is not found" in done.output
    other = CliRunner().invoke(main, ["fit", str(path), str(tmp_path / "other.ecsv")])
    assert other.exit_code == 2
    assert "other.ecsv: the file is not found" in other.output


@pytest.mark.parametrize(
    ("pattern", "replacement", "expected"),
    [
        ('"core.period" = "10 d"', '"core.period" = 10', 'such as "1 d"'),
        ('"core.period" = "10 d"', '"core.period" = "10 deg"', "does not convert to d;"),
        ('"core.period" = "3 d"', '"core.period" = "3"', 'such as "1 d"'),
        ('"pole.obliquity" = "-90 mas"', '"pole.obliquity" = "-90 m"', 'such as "1 deg"'),
        ('"spin.annual_cos" = "25 mas"', '"spin.annual_cos" = 25', 'such as "1 mas"'),
        ('"spin.rate" = "2e-7 deg/d"', '"spin.rate" = 2e-7', 'such as "1 deg / d"'),
        ('minimum_elevation = "10 deg"', "minimum_elevation = 10", 'such as "1 deg"'),
        ('sun_limit = "5 deg"', 'sun_limit = "5 m"', "does not convert to deg"),
    ],
)
def test_units_in_messages_are_those_that_people_write(
    pattern, replacement, expected, short_text, tmp_path
):
    said = fault(changed(short_text, (re.escape(pattern), replacement)), tmp_path)
    assert expected in said
    assert " rad" not in said


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["interior", "--core-period", "-242"], 'such as "1.0 +- 0.1 d"'),
        (["interior", "--core-period", "-242 +- 3 m"], "does not convert to d;"),
        (["interior", "--rate", "7608"], 'such as "1.0 +- 0.1 mas / yr"'),
        (["nutation", "mars", "--core-factor", "0.06", "--core-period", "x"], "such as '1 d'"),
        (["budget", "SCENARIO", "--sun-angle", "10"], "such as '1 deg'"),
        (["budget", "SCENARIO", "--elevation", "10 m"], "does not convert to deg"),
    ],
)
def test_units_of_options_are_those_that_people_write(arguments, expected, short_scenario):
    done = CliRunner().invoke(main, [a.replace("SCENARIO", str(short_scenario)) for a in arguments])
    assert done.exit_code == 2
    assert expected in " ".join(done.output.split())


def test_a_core_period_may_have_its_unit():
    def told(period):
        core = ["--core-factor", "0.06", "--core-period", period]
        done = CliRunner().invoke(main, ["nutation", "mars", "--years", "4", "--json", *core])
        assert done.exit_code == 0, done.output
        return done.stdout

    assert told("-242.3") == told("-242.3 d") == told("-5815.2 h")
