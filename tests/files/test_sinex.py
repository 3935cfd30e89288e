"""The reader of station coordinates in the SINEX form."""

import contextlib
import gzip
from pathlib import Path

import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError, UnknownNameError
from wobble.files.sinex import Sinex, read_sinex

# An invented site with an antenna that was moved, and one without velocities.
SAMPLE = """\
%=SNX 2.02 XYZ 20:001:00000 XYZ 10:001:00000 20:001:00000 C 00012 1 S
*-------------------------------------------------------------------------
+FILE/COMMENT
 Invented.
-FILE/COMMENT
+SITE/ID
*CODE PT __DOMES__ T _STATION DESCRIPTION__ APPROX_LON_ APPROX_LAT_ _APP_H_
 1111  A 10001S001 R Invented, on a hill      6 55 16.0  43 45 16.9  1323.8
-SITE/ID
+SOLUTION/EPOCHS
*CODE PT SOLN T _DATA_START_ __DATA_END__ _MEAN_EPOCH_
 1111  A    1 R 10:001:00000 14:180:43200 12:001:00000
 1111  A    2 R 14:200:00000 19:365:00000 17:001:00000
-SOLUTION/EPOCHS
+SOLUTION/ESTIMATE
*INDEX TYPE__ CODE PT SOLN _REF_EPOCH__ UNIT S __ESTIMATED VALUE____ _STD_DEV___
     1 STAX   1111  A    1 15:001:00000 m    2 0.458169193890000E+07 0.10000E-02
     2 STAY   1111  A    1 15:001:00000 m    2 0.556196367800000E+06 0.20000E-02
     3 STAZ   1111  A    1 15:001:00000 m    2 0.438935528690000E+07 0.30000E-02
     4 VELX   1111  A    1 15:001:00000 m/y  2 -.138800000000000E-01 0.10000E-03
     5 VELY   1111  A    1 15:001:00000 m/y  2 0.188600000000000E-01 0.20000E-03
     6 VELZ   1111  A    1 15:001:00000 m/y  2 0.111700000000000E-01 0.30000E-03
     7 STAX   1111  A    2 15:001:00000 m    2 0.458169293890000E+07 0.10000E-02
     8 STAY   1111  A    2 15:001:00000 m    2 0.556196367800000E+06 0.20000E-02
     9 STAZ   1111  A    2 15:001:00000 m    2 0.438935528690000E+07 0.30000E-02
    10 VELX   1111  A    2 15:001:00000 m/y  2 -.138800000000000E-01 0.10000E-03
    11 VELY   1111  A    2 15:001:00000 m/y  2 0.188600000000000E-01 0.20000E-03
    12 VELZ   1111  A    2 15:001:00000 m/y  2 0.111700000000000E-01 0.30000E-03
    13 XPO    ----  A    1 15:001:00000 mas  2 0.111700000000000E+02 0.30000E-03
    14 STAX   2222  A ---- 15:001:00000 m    2 0.458169193890000E+07 0.10000E-02
    15 STAY   2222  A ---- 15:001:00000 m    2 0.556196367800000E+06 0.20000E-02
    16 STAZ   2222  A ---- 15:001:00000 m    2 0.438935528690000E+07 0.30000E-02
-SOLUTION/ESTIMATE
+SOLUTION/MATRIX_ESTIMATE L COVA
     1     1  0.10000000000000E-05
-SOLUTION/MATRIX_ESTIMATE L COVA
%ENDSNX
"""
JUMPS = """\
%=SNX 2.02 XYZ 20:001:00000 XYZ 10:001:00000 20:001:00000 C 00000 0
+SOLUTION/DISCONTINUITY
 1111  A    1 P 00:000:00000 14:190:00000 P - antenna moved
 1111  A    2 P 14:190:00000 00:000:00000 P - antenna moved
 1111  A    1 P 00:000:00000 00:000:00000 V -
-SOLUTION/DISCONTINUITY
%ENDSNX
"""


def read(tmp_path: Path, *texts: str) -> Sinex:
    paths = [tmp_path / f"file{k}.snx" for k in range(len(texts))]
    for path, text in zip(paths, texts, strict=True):
        path.write_text(text)
    return read_sinex(*paths)


def test_positions_velocities_and_epochs_are_read(tmp_path):
    sinex = read(tmp_path, SAMPLE)
    assert sinex.codes == ["1111", "2222"]
    first = sinex.at("1111", Time("2012-01-01"))
    assert first.position.tolist() == [4581691.9389, 556196.3678, 4389355.2869]
    # A Julian year has 31557600 s (IAU).
    np.testing.assert_allclose(
        first.velocity * 31557600.0, [-0.01388, 0.01886, 0.01117], rtol=1e-15
    )
    assert first.position_sigma.tolist() == [1e-3, 2e-3, 3e-3]
    assert first.epoch == pytest.approx(Time("2015-01-01", scale="tt").jyear, abs=1e-12)
    assert np.isnan(sinex.at("2222", Time("2012-01-01")).velocity).all()


@pytest.mark.parametrize(
    ("date", "solution"),
    [("2000-01-01", "1"), ("2014-06-29T11:00", "1"), ("2014-07-20", "2"), ("2030-01-01", "2")],
)
def test_without_discontinuities_a_solution_holds_over_the_span_of_its_data(
    tmp_path, date, solution
):
    sinex = read(tmp_path, SAMPLE)
    assert sinex.at("1111", Time(date, scale="tt")).solution == solution
    with pytest.raises(InputError, match="no solution of the site holds"):
        sinex.at("1111", Time("2014-07-10", scale="tt"))


@pytest.mark.parametrize(("date", "solution"), [("2014-07-08T23:59", "1"), ("2014-07-09", "2")])
def test_a_discontinuity_divides_the_solutions(tmp_path, date, solution):
    # 14:190 is 9 July 2014 (calendar).
    sinex = read(tmp_path, SAMPLE, JUMPS)
    assert sinex.at("1111", Time(date, scale="tt")).solution == solution


def test_years_have_two_digits_or_four(tmp_path):
    text = SAMPLE.replace("15:001:00000", "2015:001:00000")
    assert read(tmp_path, text).solutions[0].epoch == read(tmp_path, SAMPLE).solutions[0].epoch
    old = read(tmp_path, SAMPLE.replace("15:001:00000", "97:001:00000")).solutions[0].epoch
    assert old == pytest.approx(Time("1997-01-01", scale="tt").jyear, abs=1e-12)


def test_compressed_files_are_read(tmp_path):
    (tmp_path / "file.snx.gz").write_bytes(gzip.compress(SAMPLE.encode()))
    assert read_sinex(tmp_path / "file.snx.gz").codes == ["1111", "2222"]


def test_sites_that_are_not_there_are_named(tmp_path):
    sinex = read(tmp_path, SAMPLE)
    with pytest.raises(UnknownNameError, match=r"1112.*perhaps '1111'"):
        sinex.at("1112", Time("2012-01-01"))
    with pytest.raises(UnknownNameError, match="point of site 1111"):
        sinex.at("1111", Time("2012-01-01"), point="B")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("%=SNX", "%=XYZ", "line 1: not a SINEX file"),
        ("%ENDSNX\n", "", "the file is cut off"),
        ("-SOLUTION/EPOCHS", "-SITE/ID", "the end of another block"),
        ("-SOLUTION/EPOCHS\n", "", "line 14: the block SOLUTION/EPOCHS has no end"),
        ("0.458169193890000E+07", "nan", "line 17: STAX: not a finite number"),
        (" m    2 0.458169193", " km   2 0.458169193", "line 17: STAX: another unit"),
        ("m/y  2 -.1388", "mm/y 2 -.1388", "line 20: VELX: another unit"),
        ("15:001:00000", "15:400:00000", "line 17: STAX: no such epoch"),
        ("15:001:00000", "2015-01-01", "line 17: STAX: not an epoch"),
        ("     2 STAY", "     2 STAX", "line 18: STAX: given already in line 17"),
        ("     2 STAY", "     2 STAQ", "site 1111 lacks a coordinate|STAY"),
        ("0.10000E-02", "", "line 17: another number of fields"),
        ("19:365:00000", "12:365:00000", "the span ends before it starts"),
        ("+SITE/ID", "SITE/ID", "a line outside all blocks"),
    ],
)
def test_broken_files_are_refused_with_line_and_field(tmp_path, old, new, words):
    assert old in SAMPLE
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, SAMPLE.replace(old, new, 1))
    assert caught.value.source == str(tmp_path / "file0.snx")


def test_files_without_coordinates_are_refused(tmp_path):
    with pytest.raises(InputError, match="no station coordinates"):
        read(tmp_path, JUMPS)


def test_a_file_cut_anywhere_is_refused(tmp_path):
    for cut in range(0, len(SAMPLE) - 2, 11):
        with pytest.raises(InputError):
            read(tmp_path, SAMPLE[:cut])


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "mutant.snx"
    content = bytearray(SAMPLE.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        read_sinex(path)
