"""The package's own table of passes, and the table of lunar normal points."""

import contextlib
import gzip
from pathlib import Path

import astropy.units as u
import numpy as np
import pytest
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError
from wobble.files.measurement_table import (
    read_normal_point_table,
    read_passes,
    tracking_from_table,
    tracking_table,
    write_passes,
)
from wobble.measurements.tracking import COLUMNS, Tracking

LUNAR = Path(__file__).parents[1] / "data" / "lunar_ranging" / "normal_points_2015_04.csv"


def campaign(n: int = 6) -> Tracking:
    """Invented measurements with numbers that need all their digits."""
    rng = np.random.default_rng(20)
    counted = np.arange(n) % 2 == 1
    start = Time("2021-03-01T05:00:00", scale="utc")
    return Tracking(
        pass_id=np.array([f"north-{k // 3}" for k in range(n)]),
        transmitter=np.full(n, "north"),
        receiver=np.full(n, "east"),
        lander=np.full(n, 'rover, "old"'),
        kind=np.where(counted, "range_rate", "range"),
        epoch=start + TimeDelta(np.cumsum(rng.uniform(1, 9999, n)), format="sec"),
        tag=np.full(n, "receive"),
        count_time=np.where(counted, 60.0, np.nan),
        value=np.where(counted, rng.normal(size=n) * 1e4, rng.uniform(size=n) * 1e11) / 3.0,
        sigma=rng.uniform(0.1, 1.0, n) / 3.0,
        frequency=np.full(n, 7.2e9 + 1e-4 / 3.0),
        pressure_hpa=np.where(counted, np.nan, 870.1),
        temperature_k=np.full(n, 283.1),
        meta={"scenario": "invented", "start": 7, "truth": {"pole": [0.1, 1.0 / 3.0]}},
    )


def assert_same(a: Tracking, b: Tracking) -> None:
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    np.testing.assert_array_equal(a.epoch.jd1, b.epoch.jd1)
    np.testing.assert_array_equal(a.epoch.jd2, b.epoch.jd2)
    assert a.meta == b.meta


def test_passes_are_read_back_to_the_last_bit(tmp_path):
    tracking = campaign(40)
    write_passes(tmp_path / "passes.ecsv", tracking)
    assert_same(read_passes(tmp_path / "passes.ecsv"), tracking)


def test_a_compressed_table_is_read_as_well(tmp_path):
    write_passes(tmp_path / "passes.ecsv", campaign())
    packed = tmp_path / "passes.ecsv.gz"
    packed.write_bytes(gzip.compress((tmp_path / "passes.ecsv").read_bytes()))
    assert_same(read_passes(packed), campaign())


def test_a_general_reader_of_the_format_sees_names_units_and_values(tmp_path):
    # The reference reader of ECSV (astropy).
    tracking = campaign()
    write_passes(tmp_path / "passes.ecsv", tracking)
    table = QTable.read(tmp_path / "passes.ecsv", format="ascii.ecsv")
    assert table["range"].unit == u.m
    assert table["range_rate_sigma"].unit == u.m / u.s
    assert table["pressure"].unit == u.hPa
    assert table["range"][0].to_value(u.km) == pytest.approx(tracking.value[0] / 1e3, rel=1e-15)
    assert Time(table["epoch_utc"][0], scale="utc").isot == tracking.epoch[0].isot
    assert np.isnan(table["range"][1])


def test_a_table_in_other_units_of_the_same_dimension_is_converted():
    tracking = campaign()
    table = tracking_table(tracking)
    table["range"].convert_unit_to(u.km)
    table["pressure"].convert_unit_to(u.Pa)
    again = tracking_from_table(table)
    np.testing.assert_allclose(again.value, tracking.value, rtol=1e-15)
    np.testing.assert_allclose(again.pressure_hpa, tracking.pressure_hpa, rtol=1e-15)


def test_no_measurements_at_all_are_written_and_read(tmp_path):
    write_passes(tmp_path / "none.ecsv", campaign()[:0])
    assert len(read_passes(tmp_path / "none.ecsv")) == 0


@pytest.fixture
def lines(tmp_path):
    write_passes(tmp_path / "good.ecsv", campaign())
    return (tmp_path / "good.ecsv").read_text().splitlines(keepends=True)


def refused(path: Path, content: str | bytes) -> str:
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(InputError) as caught:
        read_passes(path)
    assert str(path) in str(caught.value)
    return str(caught.value)


def test_broken_tables_are_refused_with_file_and_column(tmp_path, lines):
    path, text = tmp_path / "bad.ecsv", "".join(lines)
    assert "empty" in refused(path, "")
    assert "zero byte" in refused(path, b"\x00\x01" + text.encode())
    assert "UTF-8" in refused(path, b"# \xff\n")
    assert "ECSV" in refused(path, "a,b\n1,2\n")
    assert "cut off" in refused(path, "".join(lines[:-1]))
    assert "cut off" in refused(path, text[:-1])
    message = refused(path, text.replace("frequency", "colour"))
    assert "frequency" in message
    assert "missing" in message
    assert "pressure" in refused(path, text.replace("unit: hPa", "unit: K"))
    for several in ('"Hz, s"', "dex(Hz)"):
        assert "frequency" in refused(path, text.replace("unit: Hz", f"unit: {several}"))
    with pytest.raises(InputError, match="is a folder, not a file"):
        read_passes(tmp_path)
    with pytest.raises(InputError, match="the file is not found"):
        read_passes(tmp_path / "missing.ecsv")


def test_a_bad_value_is_refused_with_its_line(tmp_path, lines):
    number = repr(float(campaign().value[0]))
    row = next(k for k, line in enumerate(lines) if number in line)
    lines[row] = lines[row].replace(number, "nan")
    message = refused(tmp_path / "bad.ecsv", "".join(lines))
    assert f"line {row + 1}: range" in message
    assert "finite" in message


def test_a_table_cut_at_any_byte_is_refused(tmp_path, lines):
    text = "".join(lines)
    for cut in range(0, len(text), 17):
        refused(tmp_path / "cut.ecsv", text[:cut])


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    folder = tmp_path_factory.getbasetemp()
    if not (folder / "good.ecsv").exists():
        write_passes(folder / "good.ecsv", campaign())
    content = bytearray((folder / "good.ecsv").read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    (folder / "mutant.ecsv").write_bytes(content)
    with contextlib.suppress(InputError):
        read_passes(folder / "mutant.ecsv")


def test_metadata_that_the_format_cannot_hold_is_refused_before_anything_is_written(tmp_path):
    tracking = campaign()
    tracking.meta["bad"] = object()
    with pytest.raises(InputError, match="meta"):
        write_passes(tmp_path / "passes.ecsv", tracking)
    assert not list(tmp_path.iterdir())


def test_lunar_normal_points_become_half_the_round_trip():
    # First line of the table; 1 m of one-way range is 6.671281904 ns of round trip.
    tracking = read_normal_point_table(LUNAR)
    assert len(tracking) == 75
    assert tracking.pass_id[0] == "GRSM-apollo15-2015-04-29"
    assert tracking.value[0] == pytest.approx(2.660923125349 / 6.671281903963041e-9, rel=1e-15)
    assert tracking.sigma[0] == pytest.approx(232.2e-3 / 6 / 6.671281903963041, rel=1e-12)
    assert tracking.frequency[0] == pytest.approx(281.707e12, rel=1e-5)
    assert set(tracking.tag) == {"transmit"}
    assert tracking.humidity_percent[0] == 84
    assert {name: sum(tracking.lander == name) for name in ("apollo15", "luna17")} == {
        "apollo15": 44,
        "luna17": 31,
    }


def test_epochs_of_normal_points_keep_the_digits_of_the_file():
    first = read_normal_point_table(LUNAR).epoch[0]
    midnight = Time("2015-04-29", scale="utc")
    assert (first - midnight).to_value("s") == pytest.approx(79512.2530569677, abs=1e-11)


def test_normal_points_that_cannot_be_used_are_refused_with_line_and_column(tmp_path):
    text = LUNAR.read_text()
    changes = {
        "GRSM,apollo15,2015-04-29,79512": ("GRSM,apollo15,2015-04-31,79512", "date_utc"),
        "79512.2530569677": ("86512.2530569677", "end of the day"),
        "2.660923125349": ("nan", "time_of_flight_s"),
        ",232.2,": (",0.0,", "bin_rms_ps"),
        "232.2,36,": ("232.2,", "columns"),
        ",279.34,": (",27.34,", "line 6: temperature_k: row 0 cannot be used"),
        "wavelength_nm": ("colour", "columns"),
    }
    for old, (new, words) in changes.items():
        (tmp_path / "bad.csv").write_text(text.replace(old, new))
        with pytest.raises(InputError, match=words) as caught:
            read_normal_point_table(tmp_path / "bad.csv")
        assert caught.value.line is not None or "wavelength" in old
    (tmp_path / "bad.csv").write_text("# nothing\n")
    with pytest.raises(InputError, match="no normal point"):
        read_normal_point_table(tmp_path / "bad.csv")
