"""What a body file may say of the rotation beyond a table of terms."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import DATA, read_body, read_nutation_setup
from wobble.planet.angle_terms import NODE, OBLIQUITY, POLAR_X, POLAR_Y, SPIN
from wobble.planet.axis_term import CoreResonance, IntegratedAxis
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import RotationModel
from wobble.planet.satellite_nutation import MARS_SATELLITES, satellite_nutation
from wobble.planet.series_terms import TabulatedAngles

MARS, COMPUTED, IAU = (
    (Path(str(DATA)) / f"{name}.toml").read_text(encoding="utf-8")
    for name in ("mars", "mars_computed", "mars_iau")
)
# A span as short as six terms allow.
SHORT = COMPUTED.replace("1976-01-01", "1995-01-01").replace("2056-01-01", "2006-01-01")
Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def to_file(text: str) -> Path:
        path = tmp_path / "own.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


def rotation_of(name: str | Path) -> RotationModel:
    orientation = read_body(name).orientation
    assert isinstance(orientation, RotationModel)
    return orientation


# ---------------------------------------------------------------------------------------------
# Computed nutation


@pytest.fixture(scope="module")
def computed() -> RotationModel:
    return rotation_of("mars_computed")


def test_rates_of_the_pole_are_the_integrated_axis(computed: RotationModel) -> None:
    # -7608.3 +- 2.1 mas/yr: Konopliv et al. 2016, Icarus 274, 253.
    rate = computed.values["pole.precession_rate"] * JULIAN_YEAR / MAS
    assert rate == pytest.approx(-7608.3, abs=1.0)
    assert abs(computed.values["pole.obliquity_rate"]) * JULIAN_YEAR / MAS < 0.2


def test_a_rate_that_is_given_is_kept(write: Write) -> None:
    line = '"pole.precession_rate" = "-7600 mas / yr"\n"pole.node_longitude"'
    model = rotation_of(write(SHORT.replace('"pole.node_longitude"', line)))
    assert model.values["pole.precession_rate"] * JULIAN_YEAR / MAS == pytest.approx(-7600.0)
    axis = next(term for term in model.terms if isinstance(term, IntegratedAxis))
    epochs = Epochs.of(5.0 * JULIAN_YEAR)
    moved = (model.angles(epochs)[0, NODE] - axis.axis.value(epochs)[0, 0]) / MAS
    core = next(term for term in model.terms if isinstance(term, CoreResonance))
    moved -= core.angles(model.values, epochs)[0, NODE] / MAS
    change = -7600.0 - axis.series.precession_rate * JULIAN_YEAR / MAS
    assert moved == pytest.approx(5.0 * change, abs=0.02)
    assert change == pytest.approx(8.7, abs=0.5)


def test_relativity_stands_in_the_spin(computed: RotationModel) -> None:
    # 166.954 mas at the year: Baland et al. 2023, Astron. Astrophys. 670, A29.
    (term,) = (t for t in computed.terms if isinstance(t, TabulatedAngles))
    spin = term.angles({}, Epochs.of(np.arange(0.0, 5.0 * JULIAN_YEAR, DAY)))[:, SPIN] / MAS
    assert spin.max() == pytest.approx(167.5, abs=1.0)
    assert spin.min() == pytest.approx(-167.5, abs=1.0)


def test_seasonal_spin_with_relativity_is_that_of_the_other_mars(computed: RotationModel) -> None:
    """Both files mean the same motion: the sums agree to what the published values differ."""
    table = rotation_of("mars")
    epochs = Epochs.of(np.arange(0.0, 10.0 * JULIAN_YEAR, 5.0 * DAY))
    seasonal = []
    for model in (table, computed):
        total = sum(
            term.angles(model.values, epochs)[:, SPIN]
            for term in model.terms
            if isinstance(term, TabulatedAngles)
            or any(name.startswith("spin.") and "annual" in name for name in term.names)
        )
        seasonal.append(total / MAS)
    difference = seasonal[1] - seasonal[0]
    # Jupiter's synodic term 0.57 mas, rounding to 0.05, and 0.03 degrees of the mean anomaly.
    assert np.abs(difference - difference.mean()).max() < 1.2


def test_the_satellites_of_the_file_are_those_of_the_package() -> None:
    setup = read_nutation_setup("mars")
    ours = satellite_nutation(setup.planet, setup.satellites).harmonics
    theirs = satellite_nutation(setup.planet, MARS_SATELLITES).harmonics
    for name in ("frequency", "phase", "polynomial", "cosine", "sine"):
        np.testing.assert_allclose(getattr(ours, name), getattr(theirs, name), rtol=1e-12)


def test_a_rigid_planet_needs_no_core(write: Write) -> None:
    text = "\n".join(line for line in SHORT.splitlines() if not line.startswith('"core.'))
    model = rotation_of(write(text))
    assert not any(isinstance(term, CoreResonance) for term in model.terms)
    assert "core.factor" not in model.values


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("= 0.00538017", "= 0.0", r"dynamical_flattening.*without a flattening"),
        ("= 0.00538017", '= "0.005"', r"line \d+.*dynamical_flattening.*wrong form"),
        ('name = "mars"', 'name = "mercury"', "3:2 resonance"),
        ('name = "mars"', 'name = "vulcan"', "vulcan"),
        ("stop = 2006-01-01", "stop = 1998-01-01", "span.*too short"),
        ("stop = 2006-01-01", "stop = 2900-01-01", "outside the span"),
        ('"-0.4357640 deg / d"', '"0.4357640 deg / d"', "Phobos.pole_rate.*regresses"),
        ("harmonics = 6", "harmonicas = 6", r"line \d+.*harmonicas.*perhaps 'harmonics'"),
    ],
)
def test_what_cannot_be_computed_is_refused(write: Write, old: str, new: str, match: str) -> None:
    assert old in SHORT
    with pytest.raises(InputError, match=match):
        read_body(write(SHORT.replace(old, new)))


def test_nutation_is_either_computed_or_listed(write: Write) -> None:
    row = '\n[[rotation.nutation]]\nmultiple = 1\noffset = "0 deg"\n'
    with pytest.raises(InputError, match="is given and computed"):
        read_body(write(SHORT + row + 'longitude = "1 mas"\nobliquity = "1 mas"\n'))


def test_a_body_without_the_section_has_no_setup() -> None:
    with pytest.raises(InputError, match=r"computed_nutation.*mars_computed"):
        read_nutation_setup("venus")
    with pytest.raises(UnknownNameError, match="pluto"):
        read_nutation_setup("pluto")


def test_a_setup_says_in_which_file_the_value_is_wrong(write: Write) -> None:
    with pytest.raises(InputError, match=r"own\.toml.*dynamical_flattening"):
        read_nutation_setup(write(COMPUTED.replace("= 0.00538017", "= 2.0")))


# ---------------------------------------------------------------------------------------------
# Series, circles, tables

ADDED = """
[[rotation.series]]
name = "storm"
angle = "spin"
rate = "1.05 deg / d"
phase = "30 deg"

[[rotation.circle]]
name = "terannual_retrograde"
multiple = -3
"""
VALUES = """
"series.storm_cos" = "10 mas"
"series.storm_sin" = "0 mas"
"series.storm_cos_rate" = "1 mas / yr"
"series.storm_sin_rate" = "0 mas / yr"
"nutation.terannual_retrograde_in_phase" = "5 mas"
"nutation.terannual_retrograde_out_of_phase" = "-2 mas"
"""


def with_additions(added: str = ADDED, values: str = VALUES) -> str:
    return MARS.replace("[rotation.parameters]", "[rotation.parameters]" + values) + added


def test_series_and_circles_move_their_angles_by_hand(write: Write) -> None:
    plain, model = rotation_of("mars"), rotation_of(write(with_additions()))
    epochs = Epochs.of(2.0 * JULIAN_YEAR)
    moved = (model.angles(epochs) - plain.angles(epochs))[0] / MAS
    storm = (10.0 + 2.0) * np.cos(np.radians(1.05 * 730.5 + 30.0))
    pole = (5.0 - 2.0j) * np.exp(-3j * np.radians(0.52403958828 * 730.5 + 19.3564))
    eps = np.radians(25.1893984585)
    assert moved[OBLIQUITY] == pytest.approx(pole.real, rel=1e-8)
    assert moved[NODE] == pytest.approx(pole.imag / np.sin(eps), rel=1e-8)
    assert moved[SPIN] == pytest.approx(storm - moved[NODE] * np.cos(eps), rel=1e-8)


def test_their_parameters_have_units() -> None:
    assert unit_of("series.storm_cos").user == "mas"
    assert unit_of("series.storm_cos_rate").user == "mas / yr"
    assert unit_of("nutation.terannual_retrograde_out_of_phase").user == "mas"
    assert unit_of("pole.declination_rate").si == "rad / s"


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (with_additions(values=VALUES.replace("cos_rate", "cosine_rate")), "series.storm_cosine"),
        (with_additions(values=""), r"series\.storm_cos.*missing"),
        (with_additions(ADDED.replace('"spin"', '"yaw"')), r"angle.*unknown.*node, obliquity"),
        (with_additions(ADDED.replace("-3", "0")), "multiple.*no circle"),
    ],
)
def test_what_is_no_term_is_refused(write: Write, text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        read_body(write(text))


POLAR_MOTION = """# %ECSV 1.0
# ---
# datatype:
# - {name: epoch, datatype: string}
# - {name: polar_x, unit: mas, datatype: float64}
# - {name: polar_y, unit: arcsec, datatype: float64}
# schema: astropy-2.0
epoch polar_x polar_y
2020-01-01T00:00:00 1.0 0.001
2020-02-01T00:00:00 2.0 0.002
2020-03-01T00:00:00 3.0 0.001
2020-05-01T00:00:00 1.0 -0.002
2020-06-01T00:00:00 0.0 -0.003
"""


def test_polar_motion_from_a_file_beside_the_body(write: Write, tmp_path: Path) -> None:
    (tmp_path / "pole.ecsv").write_text(POLAR_MOTION, encoding="utf-8")
    path = write(MARS + '\n[[rotation.table]]\nfile = "pole.ecsv"\n')
    plain, model = rotation_of("mars"), rotation_of(path)
    # 2020-05-01T00:00:00 UTC is 69.184 s later in TDB.
    epochs = Epochs.of((7425 + 0.5) * DAY, 69.184)
    moved = (model.angles(epochs) - plain.angles(epochs))[0] / MAS
    assert moved[[POLAR_X, POLAR_Y]] == pytest.approx([1.0, -2.0], abs=1e-6)
    with pytest.raises(InputError, match=r"pole\.ecsv.*expected 2020-01-01"):
        model.angles(Epochs.of(0.0))


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("epoch polar_x", "date polar_x", "pole.ecsv"),
        ("2020-03-01T00", "2020-01-15T00", "epochs do not increase.*2020-01-15"),
        ("2020-03-01T00:00:00", "the-ides", "epoch.*date cannot be read"),
        ("unit: mas", "unit: km", "polar_x.*not an angle"),
        ("unit: mas", "unit: 'mas, s'", "polar_x.*not an angle"),
        ("unit: mas", "unit: mast", "polar_x.*not an angle"),
        ("polar_x", "polar_q", r"polar_q.*perhaps 'polar_y'"),
        ("00 3.0 0.001", '00 "" 0.001', "polar_x.*missing"),
        ("00 3.0 0.001", "00 nan 0.001", "2020-03-01.*"),
        (POLAR_MOTION, "", "pole.ecsv.*empty"),
        (POLAR_MOTION, "\x00\x01", "pole.ecsv"),
    ],
)
def test_a_broken_table_is_named(
    write: Write, tmp_path: Path, old: str, new: str, match: str
) -> None:
    (tmp_path / "pole.ecsv").write_text(POLAR_MOTION.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=match):
        read_body(write(MARS + '\n[[rotation.table]]\nfile = "pole.ecsv"\n'))


def test_a_missing_table_is_named(write: Write) -> None:
    with pytest.raises(InputError, match=r"own.toml, line .*the file is not found.*pole\.ecsv"):
        read_body(write(MARS + '\n[[rotation.table]]\nfile = "pole.ecsv"\n'))


# ---------------------------------------------------------------------------------------------
# Pole and meridian


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ('"spin.rate" = "350.891982443297 deg / d"', "", r"spin\.rate.*missing"),
        ('"spin.rate"', '"spin.annual_cos"', "annual_cos.*expected.*spin.rate"),
        ("declination_cos", "declination_sin", r"declination_sin.*perhaps 'declination_cos'"),
        ('"317.269202 deg"', '"317.269202"', r"line \d+.*right_ascension.*without a unit"),
        ("[pole_and_meridian.parameters]", "[pole_and_meridian.values]", "parameters.*missing"),
    ],
)
def test_wrong_expressions_are_refused(write: Write, old: str, new: str, match: str) -> None:
    assert old in IAU
    with pytest.raises(InputError, match=match):
        read_body(write(IAU.replace(old, new)))
