"""Standard tables of Earth orientation, read as an alternative to the packaged one."""

import contextlib
import gzip

import astropy_iers_data
import numpy as np
import pytest
from astropy.utils.iers import IERS_A, IERS_B
from hypothesis import given, settings
from hypothesis import strategies as st

import wobble
from wobble.constants import MAS
from wobble.errors import InputError
from wobble.files.earth_orientation import read_earth_orientation


def rows(file, first, last):
    with open(file, encoding="ascii") as lines:
        return list(lines)[first:last]


# Two hundred days around the leap second of 2016, and the last days with predictions.
FINALS = "".join(rows(astropy_iers_data.IERS_A_FILE, 15900, 16100))
END = "".join(rows(astropy_iers_data.IERS_A_FILE, -600, None))
C04 = "".join(
    rows(astropy_iers_data.IERS_B_FILE, 0, 6) + rows(astropy_iers_data.IERS_B_FILE, 20000, 20200)
)


def read(folder, text, name="finals2000A.all"):
    (folder / name).write_text(text, encoding="ascii")
    return read_earth_orientation(folder / name)


def test_finals_are_what_astropy_reads(tmp_path):
    table = read(tmp_path, FINALS)
    whole = IERS_A.read(astropy_iers_data.IERS_A_FILE)
    place = np.searchsorted(whole["MJD"].value, table.mjd)
    assert len(table.mjd) == 200
    assert (np.diff(table.mjd) == 1.0).all()
    np.testing.assert_allclose(table.x_pole, whole["PM_x_A"][place].to_value("rad"))
    np.testing.assert_allclose(table.dy, whole["dY_2000A_A"][place].to_value("rad"))
    # TAI - UTC was 36 s until the end of 2016 and 37 s after it (bulletin C 52).
    leap = np.where(table.mjd < 57754.0, 36.0, 37.0)
    assert np.unique(leap).size == 2
    np.testing.assert_allclose(
        table.ut1_minus_tai, whole["UT1_UTC_A"][place].to_value("s") - leap, atol=1e-12
    )
    assert set(table.status) == {"rapid"}


def test_the_end_of_the_finals_is_predicted_and_its_pole_held(tmp_path):
    table = read(tmp_path, END)
    assert table.status[-1] == "predicted"
    assert table.dx[-1] == table.dx[-2]
    # The last lines of the file hold dates alone.
    assert len(table.mjd) < 600


def test_c04_is_what_astropy_reads(tmp_path):
    table = read(tmp_path, C04, "eopc04.1962-now")
    whole = IERS_B.read(astropy_iers_data.IERS_B_FILE)
    place = np.searchsorted(whole["MJD"].value, table.mjd)
    np.testing.assert_allclose(table.y_pole, whole["PM_y"][place].to_value("rad"))
    np.testing.assert_allclose(table.dx, whole["dX_2000A"][place].to_value("rad"))
    assert set(table.status) == {"final"}


def test_a_table_may_be_compressed(tmp_path):
    (tmp_path / "finals2000A.all.gz").write_bytes(gzip.compress(FINALS.encode("ascii")))
    assert len(read_earth_orientation(tmp_path / "finals2000A.all.gz").mjd) == 200


def changed_line(text, number, change):
    lines = text.splitlines(keepends=True)
    lines[number] = change(lines[number])
    return "".join(lines)


def test_offsets_about_the_older_theory_are_refused(tmp_path):
    # finals.all has dPsi and dEps in these columns: -100 mas about the year 2016.
    old = "".join(
        line[:97] + f"  -{100.0 + k / 10:7.3f}"[-9:] + line[106:]
        for k, line in enumerate(FINALS.splitlines(keepends=True))
    )
    with pytest.raises(InputError, match=r"dx.*IAU 2000A"):
        read(tmp_path, old)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("nonsense\n", "line 1"),
        (FINALS[:-20], "cut off"),
        (changed_line(FINALS, 9, lambda line: ""), "must follow one another"),
        (changed_line(FINALS, 9, lambda line: line[:60] + "\n"), "line 10.*cut off"),
        (changed_line(FINALS, 9, lambda line: line.replace("57", "58", 1)), "line 10"),
        (changed_line(FINALS, 9, lambda line: line[:20] + "x" + line[21:]), "cannot be read"),
        (changed_line(FINALS, 9, lambda line: line[:58] + " 9.0000000" + line[68:]), "jumps"),
        (FINALS.splitlines(keepends=True)[0], "at least four days"),
        (C04[: C04.rindex(" ")], "cut off"),
        (changed_line(C04, 30, lambda line: line[:60] + "\n"), "line 31: another number"),
        (changed_line(C04, 30, lambda line: line.replace(".", "?", 1)), "line 31"),
        (C04[: C04.index("\n") + 1], "Earth orientation"),
    ],
)
def test_broken_tables_are_refused(tmp_path, text, message):
    with pytest.raises(InputError, match=message) as caught:
        read(tmp_path, text)
    assert "finals2000A.all" in str(caught.value)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_broken_byte_reads_or_is_refused(tmp_path_factory, data):
    text = bytearray((FINALS[:4000] if data.draw(st.booleans()) else C04[:4000]).encode("ascii"))
    place = data.draw(st.integers(0, len(text) - 1))
    text[place] = data.draw(st.integers(0, 255))
    file = tmp_path_factory.getbasetemp() / "broken"
    file.write_bytes(bytes(text[: data.draw(st.integers(1, len(text)))]))
    with contextlib.suppress(InputError):
        table = read_earth_orientation(file)
        assert np.abs(table.dx).max() < 5.0 * MAS


def test_a_scenario_names_its_table(tmp_path, short_text):
    (tmp_path / "finals2000A.all").write_text(END, encoding="ascii")
    text = short_text.replace(
        'body = "mars"', 'body = "mars"\nearth_orientation = "finals2000A.all"'
    )
    (tmp_path / "campaign.toml").write_text(text)
    campaign = wobble.read_scenario(tmp_path / "campaign.toml")
    network = campaign.plan_network
    assert "finals2000A.all" in campaign.provenance(network)["earth_orientation"]
    # Continued by rule from the same last days as the packaged table.
    mean = network.earth.orientation.table.x_pole[-1]
    assert mean == pytest.approx(read_earth_orientation(tmp_path / "finals2000A.all").x_pole[-1])


def test_a_table_that_is_not_there_is_named(tmp_path, short_text):
    text = short_text.replace('body = "mars"', 'body = "mars"\nearth_orientation = "none.all"')
    (tmp_path / "campaign.toml").write_text(text)
    with pytest.raises(InputError, match=r"none\.all"):
        wobble.read_scenario(tmp_path / "campaign.toml")


def test_the_official_file_of_all_days_is_read():
    # A celestial-pole offset of -8.7 mas stands there in 1982, far from that of any other year.
    table = read_earth_orientation(astropy_iers_data.IERS_A_FILE)
    assert table.mjd[0] == 41684.0  # 1973-01-02, the first day of the file
    assert np.abs([table.dx, table.dy]).max() > 8.0 * MAS
    assert np.median(np.abs([table.dx, table.dy])) < 0.5 * MAS


def test_simulated_data_are_fitted_on_the_earth_that_they_were_made_on(
    tmp_path, short_scenario, short_text, short_passes, short_tracking
):
    # The same values, wherever they come from, are the same table ...
    same = wobble.read_scenario(short_scenario)
    assert same.fit(short_tracking[short_tracking.pass_id == "P001"]).n_used > 0
    # ... but the weekly file alone ends with other days than the packaged one.
    (tmp_path / "finals").write_text("".join(rows(astropy_iers_data.IERS_A_FILE, 15900, None)))
    path = tmp_path / "campaign.toml"
    path.write_text(
        short_text.replace("[campaign]", '[campaign]\nearth_orientation = "finals"', 1),
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="simulated with another table of Earth orientation"):
        wobble.read_scenario(path).fit(short_tracking)
    # Made on their own table they are fitted.
    own = wobble.read_scenario(path)
    assert own.fit(own.simulate(short_passes)).misfit.describes_data
