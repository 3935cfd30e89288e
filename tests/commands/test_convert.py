"""Measurements as Tracking Data Messages, from the command line and back into a fit."""

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

import wobble
from wobble.cli import main
from wobble.files.measurement_table import write_passes


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def refused(result, *words):
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    for word in words:
        assert word in result.output


@pytest.fixture(scope="module")
def scenario(short_scenario):
    """The demonstration has an agreement."""
    return short_scenario


@pytest.fixture(scope="module")
def written(scenario, short_tracking, tmp_path_factory):
    """The rehearsal's measurements as a table and as messages in both notations."""
    folder = tmp_path_factory.mktemp("written")
    write_passes(folder / "passes.ecsv", short_tracking)
    for name, units in (("passes.kvn", "km"), ("passes.xml", "s")):
        result = run(
            "convert", scenario, folder / "passes.ecsv", "--out", folder / name,
            "--range-units", units, "--json",
        )  # fmt: skip
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)["measurements"] == len(short_tracking)
    return folder


@pytest.mark.parametrize("name", ["passes.kvn", "passes.xml"])
def test_a_round_trip_through_a_message_leaves_the_solution_as_it_was(
    name, scenario, written, short_tracking
):
    campaign = wobble.read_scenario(scenario)
    before = campaign.fit(short_tracking)
    after = campaign.fit(wobble.read_tracking([written / name], campaign)[0])
    for parameter in before.names:
        one, two = before[parameter], after[parameter]
        assert abs(one.value - two.value) < 1e-6 * one.sigma
        assert two.sigma == pytest.approx(one.sigma, rel=1e-6)
    # It is the data that come back, not the a priori values.
    assert any(
        before[p].sigma < 0.9 * before.parameters[p].sigma
        for p in before.names
        if np.isfinite(before.parameters[p].sigma)
    )


def test_a_scenario_may_name_messages_as_its_data(scenario, written, tmp_path):
    text = scenario.read_text(encoding="utf-8")
    path = tmp_path / "campaign.toml"
    path.write_text(
        text.replace(
            "[data.agreement]", f'[data]\nfiles = ["{written}/passes.kvn"]\n\n[data.agreement]'
        )
    )
    result = run("fit", path, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert found["n_used"] > 1400
    assert found["data_warnings"] == []


def test_a_message_says_that_simulated_data_are_not_real(written):
    for name in ("passes.kvn", "passes.xml"):
        assert "nothing was transmitted or received" in (written / name).read_text()


def test_without_an_agreement_the_error_says_what_to_write(short_text, written, tmp_path):
    bare = tmp_path / "campaign.toml"
    bare.write_text(short_text.partition("[data.agreement]")[0])
    words = ("[data.agreement]", "two_way_range", "range_sigma", "stations and landers")
    refused(run("fit", bare, written / "passes.kvn"), "passes.kvn", *words)
    out = tmp_path / "x.kvn"
    refused(run("convert", bare, written / "passes.ecsv", "--out", out), *words)
    assert not out.exists()


def test_an_ending_that_is_not_written_is_refused(scenario, written, tmp_path):
    out = tmp_path / "x.npt"
    refused(run("convert", scenario, written / "passes.ecsv", "--out", out), ".npt", ".kvn, .tdm")


@pytest.mark.parametrize(
    ("pattern", "replacement", "words"),
    [
        ('= "alder"\n\n\\[data.agreement.l', '= "aldr"\n\n[data.agreement.l',
         ["unknown station", "'aldr'", "perhaps 'alder'", "STATION A", "line "]),
        ('"half"', '"double"', ["two_way_range", "double", "half or whole", "line "]),
        ('range_sigma = "1 m"', 'range_sigma = "1 s"', ["range_sigma", "in s"]),
        ('range_sigma = "1 m"', 'range_sigma = 1', ["range_sigma", "wrong form"]),
        ("two_way_range =", "twoway_range =", ["twoway_range", "two_way_range"]),
        ("simulated = true", 'simulated = "yes"', ["simulated", "true or false"]),
        ("simulated = true", 'metadata = {TIMETAG = "RECEIVE"}', ["TIMETAG_REF"]),
    ],
)  # fmt: skip
def test_a_fault_of_the_agreement_is_named(pattern, replacement, words, short_text, tmp_path):
    text, n = re.subn(pattern, replacement, short_text, count=1)
    assert n == 1
    path = tmp_path / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    refused(run("inspect", path, "--scenario", path), "campaign.toml", *words)


# What is wrong with a file, end to end.


def faulty(written, tmp_path, pattern, replacement, count=1):
    text, n = re.subn(pattern, replacement, (written / "passes.kvn").read_text(), count=count)
    assert n
    path = tmp_path / "faulty.kvn"
    path.write_text(text)
    return path


def test_measurements_that_stand_in_two_files_are_used_once_and_named(scenario, written):
    files = [written / name for name in ("passes.kvn", "passes.xml")]
    tracking, warnings = wobble.read_tracking(files, wobble.read_scenario(scenario))
    assert len(tracking) == 1485
    assert len(warnings) == 1
    assert re.search(
        r"1485 measurements stand twice.*used once.*alder at 2031.*passes.xml.*passes."
        "kvn already",
        warnings[0],
    )
    result = run("fit", scenario, *files, "--json")
    assert json.loads(result.stdout)["data_warnings"] == warnings


def test_files_that_contradict_each_other_are_refused(scenario, written, tmp_path):
    path = faulty(written, tmp_path, r"(RANGE  .*\.\d\d)\d", r"\g<1>99")
    refused(
        run("fit", scenario, written / "passes.kvn", path),
        "faulty.kvn: range: contradicts", "passes.kvn: the range of", "2031-05-0",
    )  # fmt: skip


def test_participants_whom_nobody_knows_are_named_with_those_known(scenario, written, tmp_path):
    path = faulty(written, tmp_path, "STATION A", "STATION B")
    refused(
        run("fit", scenario, path),
        "PARTICIPANT_1", "'STATION B'", "STATION A, alder, broom, cliff", "line 20",
    )  # fmt: skip
    found = json.loads(run("inspect", path, "--scenario", scenario, "--json").stdout)
    assert "stations: whose names here are STATION B?" in found["files"][0]["missing_for_a_fit"]


@pytest.mark.parametrize("year", ["1899", "2500"])
def test_years_out_of_range_are_refused(year, scenario, written, tmp_path):
    path = faulty(written, tmp_path, r"(RANGE  +=) 2031", rf"\1 {year}")
    for command in (("fit", scenario, path), ("inspect", path)):
        refused(run(*command), "faulty.kvn, line", "RANGE", "the year is out of range", year)


MESSAGE = """CCSDS_TDM_VERS = 2.0
CREATION_DATE = 2017-02-01T00:00:00
ORIGINATOR = EXAMPLE
META_START
TIME_SYSTEM = UTC
PARTICIPANT_1 = STATION A
PARTICIPANT_2 = HERON 1
MODE = SEQUENTIAL
PATH = 1,2,1
TIMETAG_REF = RECEIVE
INTEGRATION_INTERVAL = 1
INTEGRATION_REF = MIDDLE
TURNAROUND_NUMERATOR = 880
TURNAROUND_DENOMINATOR = 749
META_STOP
DATA_START
{data}
DATA_STOP
"""


def message(tmp_path, *data):
    path = tmp_path / "message.tdm"
    path.write_text(MESSAGE.format(data="\n".join(data)))
    return path


def test_a_leap_second_is_one_second(scenario, tmp_path):
    # 2016-12-31 ended with 23:59:60 (IERS Bulletin C 52).
    path = message(
        tmp_path,
        "TRANSMIT_FREQ_1 = 2016-12-31T20:00:00 7.2e9",
        *(f"RECEIVE_FREQ = {tag} 8459279512.5" for tag in (
            "2016-12-31T23:59:59", "2016-12-31T23:59:60", "2017-01-01T00:00:00")),
    )  # fmt: skip
    tracking, _ = wobble.read_tracking([path], wobble.read_scenario(scenario))
    np.testing.assert_allclose(
        (tracking.epoch - tracking.epoch[0]).to_value("s"), [0.0, 1.0, 2.0], rtol=0, atol=1e-9
    )
    found = json.loads(run("inspect", path, "--json").stdout)["files"][0]["series"][1]
    assert (found["step_s"], found["gaps_utc"]) == (1.0, [])
    # 2017-06-30 had none.
    path = message(tmp_path, "RECEIVE_FREQ = 2017-06-30T23:59:60 1")
    for command in (("fit", scenario, path), ("inspect", path)):
        refused(run(*command), "message.tdm, line 17", "RECEIVE_FREQ", "end of the day")


def test_data_before_the_ramps_begin_are_refused(scenario, tmp_path):
    path = message(
        tmp_path,
        "TRANSMIT_FREQ_1 = 2016-12-31T20:00:00 7.2e9",
        "TRANSMIT_FREQ_RATE_1 = 2016-12-31T20:00:00 0.5",
        "RECEIVE_FREQ = 2016-12-31T19:59:00 8459279512.5",
    )
    words = ("message.tdm, line 19", "TRANSMIT_FREQ", "alder transmits is not known that early")
    refused(run("fit", scenario, path), *words)
    said = run("inspect", path, "--json").stdout
    assert "STATION A transmits is not known that early" in said


def test_segments_that_overlap_are_named(scenario, written, tmp_path):
    text = (written / "passes.kvn").read_text()
    segment = text[text.index("META_START") : text.index("DATA_STOP") + 10]
    path = tmp_path / "overlap.kvn"
    counts = re.findall(r"DOPPLER_INTEGRATED .*\n", segment)
    for line in counts[len(counts) // 2 :]:  # half a count later
        segment = segment.replace(line, re.sub(r":\d\d(\.\d+)? (?=-)", ":40 ", line))
    path.write_text(text + segment)
    _, (warning, twice) = wobble.read_tracking([path], wobble.read_scenario(scenario))
    said = r"overlap.kvn, line \d+: the DOPPLER_INTEGRATED .* overlap .* line \d+ on"
    assert re.search(said, warning)
    # Those of its tags that were not moved are the same measurements again.
    assert re.match(r"\d+ measurements stand twice", twice)
    assert "overlap in" in run("inspect", path).stdout
    # Counts of one receiver that overlap share cycles, which no noise budget describes.
    refused(run("fit", scenario, path), "count intervals overlap")


def test_what_is_carried_or_not_applied_is_said_by_the_fit(scenario, written, tmp_path):
    path = faulty(
        written, tmp_path, "META_STOP\nDATA_START",
        "DATA_QUALITY = DEGRADED\nCORRECTION_DOPPLER = 1e-12\nCORRECTIONS_APPLIED = NO\n"
        "META_STOP\nDATA_START\nTROPO_DRY = 2031-05-01T00:00:00 2.2",
    )  # fmt: skip
    found = json.loads(run("fit", scenario, path, "--json").stdout)["data_warnings"]
    assert [text.partition(": ")[2] for text in found] == [
        "the data quality is DEGRADED",
        "CORRECTION_DOPPLER = 1e-12 is not applied yet and is added",
        "TROPO_DRY is used where the scenario's [media] names the file, not here (1 in the file)",
    ]
