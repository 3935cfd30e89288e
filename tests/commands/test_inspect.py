"""`wobble inspect`: what it prints and writes."""

import json
from pathlib import Path

from click.testing import CliRunner

from wobble.cli import main

DATA = Path(__file__).parents[1] / "data"
RAMPED = DATA / "tdm" / "two_way_range_ramped.kvn"
POINTS = DATA / "lunar_ranging" / "luna17_201504_sample.npt"


def run(*arguments):
    return CliRunner().invoke(main, ["inspect", *map(str, arguments)])


def test_it_tells_what_is_there_and_what_is_missing():
    text = run(RAMPED).stdout
    for words in (
        "participants: STATION A, SPACECRAFT",
        "RANGE STATION A > SPACECRAFT > STATION A: 3",
        "2005-07-10T00:31:51 to 2005-07-10T00:37:45",
        "step 177 s, 0 gaps",
        "STATION A transmits 3 frequencies",
        "quality NOT STATED: 1 segment",
        "RANGE_MODULUS (1): undone by a prediction",
        "PR_N0 is carried, not used (3 in the file)",
        "range_unit_seconds: ranges are in range units",
    ):
        assert words in text
    assert max(map(len, text.splitlines()[1:])) <= 76


def test_json_is_one_object_with_every_file():
    found = json.loads(run(RAMPED, POINTS, "--json").stdout)["files"]
    assert [Path(one["file"]).name for one in found] == [RAMPED.name, POINTS.name]
    assert found[0]["keywords"]["PR_N0"] == {"count": 3, "reader": "carried"}
    assert "two_way_range: the path is two-way" in found[0]["missing_for_a_fit"]
    assert found[1]["missing_for_a_fit"] == []


def test_a_figure_is_written_with_out(tmp_path):
    result = run(RAMPED, POINTS, "--out", tmp_path / "seen")
    assert result.exit_code == 0, result.output
    svg = (tmp_path / "seen" / "figures" / "coverage.svg").read_text()
    assert "STATION A &gt; SPACECRAFT &gt; STATION A" in svg
    assert "APOL &gt; luna17 &gt; APOL" in svg


def test_a_file_that_cannot_be_read_leaves_nothing_behind(tmp_path):
    bad = tmp_path / "bad.kvn"
    bad.write_bytes(b"\x00\x01")
    result = run(bad, "--out", tmp_path / "seen")
    assert result.exit_code == 2
    assert "bad.kvn" in result.output
    assert not (tmp_path / "seen").exists()
