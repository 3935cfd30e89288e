"""The reader of ocean loading in the BLQ form."""

import contextlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError
from wobble.files.blq import read_blq

# The example of the IERS Conventions 2010, section 7.1.2 (from memory), station renamed.
SAMPLE = """\
$$ COLUMN ORDER:  M2  S2  N2  K2  K1  O1  P1  Q1  MF  MM SSA
$$ ROW ORDER:
$$ AMPLITUDES (m)
$$  RADIAL
$$  TANGENTL    EW
$$  TANGENTL    NS
$$ PHASES (deg)
  STATION A
$$ lon/lat:   11.9264   57.3958
  .00352 .00123 .00080 .00032 .00187 .00112 .00063 .00003 .00082 .00044 .00037
  .00144 .00035 .00035 .00008 .00053 .00049 .00018 .00009 .00012 .00005 .00006
  .00086 .00023 .00023 .00006 .00029 .00028 .00010 .00007 .00004 .00002 .00001
   -64.7  -52.0  -96.2  -55.2  -58.8 -151.4  -65.6 -138.1    8.4    5.2    2.1
    85.5  114.5   56.5  113.6   99.4   19.1   94.1  -10.4 -167.4 -170.0 -177.7
   109.5  147.0   92.7  148.8   50.5  -55.1   36.4 -170.4  -15.0    2.3    5.2
"""
SECOND = SAMPLE[SAMPLE.index("  STATION A") :].replace("STATION A", "7000")


def read(tmp_path: Path, text: str):
    (tmp_path / "file.blq").write_text(text)
    return read_blq(tmp_path / "file.blq")


def test_amplitudes_and_phases_stand_by_tide_and_component(tmp_path):
    tables = read(tmp_path, SAMPLE + SECOND + "$$ END TABLE\n")
    assert list(tables) == ["STATION A", "7000"]
    table = tables["STATION A"]
    # M2 up, west, south; and O1 west, Ssa south.
    assert table.amplitudes[0].tolist() == [0.00352, 0.00144, 0.00086]
    assert table.phases_deg[0].tolist() == [-64.7, 85.5, 109.5]
    assert (table.amplitudes[5, 1], table.phases_deg[5, 1]) == (0.00049, 19.1)
    assert (table.amplitudes[10, 2], table.phases_deg[10, 2]) == (0.00001, 5.2)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("M2  S2", "S2  M2", "line 1: another order of the columns"),
        (".00352 ", "", "line 10: amplitude radial: another number of tides"),
        (".00352", "3.52", "line 10: amplitude radial: out of range"),
        (".00352", "-.00352", "line 10: amplitude radial: out of range"),
        (".00144", "nan", "line 11: amplitude west: not a finite number"),
        ("109.5", "409.5", "line 15: phase south: out of range"),
        ("  STATION A\n", "", "line 9: a row of numbers that belongs to no station"),
        ("$$ lon/lat:   11.9264   57.3958\n", "STATION B\n", "line 9: amplitude radial"),
    ],
)
def test_broken_files_are_refused_with_line_and_row(tmp_path, old, new, words):
    assert old in SAMPLE
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, SAMPLE.replace(old, new, 1))
    assert caught.value.source == str(tmp_path / "file.blq")


def test_a_missing_row_or_station_and_a_double_one_are_found(tmp_path):
    lines = SAMPLE.splitlines(keepends=True)
    with pytest.raises(InputError, match="cut off"):
        read(tmp_path, "".join(lines[:-1]))
    with pytest.raises(InputError, match="cut off"):
        read(tmp_path, SAMPLE[:-2])
    with pytest.raises(InputError, match="no station"):
        read(tmp_path, "".join(lines[:7]))
    with pytest.raises(InputError, match="given twice"):
        read(tmp_path, SAMPLE + SECOND.replace("7000", "STATION A"))


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "mutant.blq"
    content = bytearray(SAMPLE.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        read_blq(path)
