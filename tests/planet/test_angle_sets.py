"""Both sets of angles of a body, at dates and as series."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.constants import JULIAN_YEAR, MAS
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.files.body_file import read_body
from wobble.planet.angle_sets import AngleSeries, angle_series, angle_sets, plane_of
from wobble.planet.reference_angles import matrix_of_equatorial_angles, matrix_of_orbit_angles
from wobble.planet.rotation import RotationModel

EPOCHS = Epochs.of(np.linspace(-6e8, 9e8, 9), 0.25)
HALF_SPAN = 30.0 * JULIAN_YEAR


def orientation_of(name: str) -> RotationModel:
    orientation = read_body(name).orientation
    assert isinstance(orientation, RotationModel)
    return orientation


MARS = orientation_of("mars")
PLANE = plane_of(MARS)
assert PLANE is not None


@pytest.mark.parametrize("name", ["mars", "mars_iau", "venus", "moon", "moon_iau"])
def test_both_sets_are_the_bodys_matrix(name: str) -> None:
    orientation = read_body(name).orientation
    found = angle_sets(orientation, EPOCHS, PLANE)
    matrix = orientation.matrix(EPOCHS)
    by_plane = matrix_of_orbit_angles(PLANE, found.psi, found.eps, found.phi)
    by_equator = matrix_of_equatorial_angles(found.alpha, found.delta, found.w)
    # phi of some 1e5 rad is one float in these functions: 1e-11 rad.
    np.testing.assert_allclose(by_plane, matrix, atol=3e-11)
    np.testing.assert_allclose(by_equator, matrix, atol=3e-11)


def test_there_and_back_through_the_published_expressions() -> None:
    """Mars of Archinal et al. 2018 on the orbit plane precesses by -7606.1 +- 3.5 mas/yr.

    Kuchynka et al. 2014, Icarus 229, 340 (from memory), the solution behind the expressions.
    """
    found = series("mars_iau", "orbit")
    assert found.secular["psi"][1] == pytest.approx(-7606.1, abs=0.2)
    # Obliquity of J2000, 25.1894 +- 0.0001 degrees: Yoder & Standish 1997, J. Geophys. Res.
    # 102, 4065; 25.18939 for Konopliv et al. 2006.
    assert found.secular["eps"][0] == pytest.approx(25.1894, abs=1e-4)


def test_mean_pole_of_konopliv_2006_is_that_of_iau_2000() -> None:
    # 317.681118 and 52.886331 degrees of the mean pole of J2000, against 317.68143 and 52.88650
    # of the working group of 2000; W0 176.630209 against 176.630.
    found = series("mars", "equatorial").secular
    assert found["alpha"][0] == pytest.approx(317.681118, abs=2e-6)
    assert found["delta"][0] == pytest.approx(52.886331, abs=2e-6)
    w = found["w_minus_phi"][0] + 133.38462
    assert w == pytest.approx(176.630209, abs=5e-6)
    # Rates of the pole, -0.1061 and -0.0609 degrees a century.
    degrees_a_century = 100.0 / 3.6e6
    assert found["alpha"][1] * degrees_a_century == pytest.approx(-0.1061, abs=0.003)
    assert found["delta"][1] * degrees_a_century == pytest.approx(-0.0609, abs=0.003)


def series(name: str, kind: str) -> AngleSeries:
    return angle_series(
        "mars", orientation_of(name), kind, open_ephemeris(), -HALF_SPAN, HALF_SPAN, plane=PLANE
    )


@pytest.mark.parametrize(("name", "kind"), [("mars", "equatorial"), ("mars_iau", "orbit")])
def test_series_holds_to_a_tenth_of_a_milliarcsecond(name: str, kind: str) -> None:
    """The accuracy of Yseboodt, Baland & Le Maistre 2023 over 30 years either side of J2000."""
    found = series(name, kind)
    epochs = Epochs.of(np.linspace(-HALF_SPAN, HALF_SPAN, 700))
    sets = angle_sets(orientation_of(name), epochs, PLANE)
    expected = {
        "equatorial": (sets.alpha, sets.delta, sets.w - sets.phi),
        "orbit": (sets.psi, sets.eps, sets.phi - sets.w),
    }[kind]
    left = found.harmonics.value(epochs) - np.stack(expected, axis=1)
    left = np.remainder(left + np.pi, 2.0 * np.pi) - np.pi
    assert np.abs(left).max() / MAS < 0.1
    assert max(found.left.values()) < 0.03


def test_series_shows_itself() -> None:
    text = str(series("mars", "equatorial"))
    assert "alpha" in text
    assert "w_minus_phi" in text
    assert "3 l" in text
    table = series("mars", "equatorial").to_table()
    assert table["alpha_sin_rate"].unit == "mas/yr"
    assert len(table) == 6


def test_table_of_dates_has_degrees_and_the_plane() -> None:
    table = angle_sets(MARS, EPOCHS).to_table()
    assert table["delta"].unit == "deg"
    assert table["delta"][0].value == pytest.approx(52.9, abs=0.1)
    assert ((table["w"].value >= 0.0) & (table["w"].value < 360.0)).all()
    assert table.meta["plane_inclination_deg"] == pytest.approx(24.67682669)


def test_without_a_plane_there_are_no_orbit_angles() -> None:
    with pytest.raises(InputError, match=r"plane.*node and inclination"):
        angle_sets(orientation_of("venus"), EPOCHS)


@pytest.mark.parametrize(
    ("kind", "harmonics", "span", "match"),
    [
        ("lunar", 6, HALF_SPAN, "unknown set.*equatorial or orbit"),
        ("orbit", 0, HALF_SPAN, "no term"),
        ("orbit", 6, JULIAN_YEAR, "too short"),
    ],
)
def test_series_that_cannot_be(kind: str, harmonics: int, span: float, match: str) -> None:
    with pytest.raises(InputError, match=match):
        angle_series("mars", MARS, kind, open_ephemeris(), -span, span, harmonics=harmonics)
