"""Bodies from files: the ready-made ones, one of one's own, and what is wrong with a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wobble.constants import DAY, MAS
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import DATA, KNOWN, READY_MADE, read_body, rotation_terms
from wobble.planet.angle_terms import Harmonics, Nutation, Polynomial, Wobble
from wobble.planet.body import Body
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import RotationModel, TabulatedLibration

MARS = (Path(str(DATA)) / "mars.toml").read_text(encoding="utf-8")
Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def to_file(text: str) -> Path:
        path = tmp_path / "own.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


# ---------------------------------------------------------------------------------------------
# Ready-made bodies


def test_mars_has_the_published_angles() -> None:
    # Konopliv et al. 2006, Icarus 182, 23; the precession rate of Konopliv et al. 2016, Icarus
    # 274, 253.
    model = read_body("mars").orientation
    assert isinstance(model, RotationModel)
    degrees = {
        "pole.node_longitude": 81.9683671267,
        "pole.obliquity": 25.1893984585,
        "spin.angle": 133.38462,
    }
    for name, value in degrees.items():
        assert np.degrees(model.values[name]) == pytest.approx(value, rel=1e-14)
    year = 365.25 * DAY
    assert model.values["pole.precession_rate"] * year / MAS == pytest.approx(-7608.3)
    assert np.degrees(model.values["spin.rate"]) * DAY == pytest.approx(350.891985303, rel=1e-14)
    assert np.degrees(model.plane_node) == pytest.approx(3.37919183)
    assert np.degrees(model.plane_inclination) == pytest.approx(24.67682669)
    assert model.values["core.period"] < 0


def test_the_terms_of_mars_have_the_frequencies_of_its_year() -> None:
    model = read_body("mars").orientation
    assert isinstance(model, RotationModel)
    year = 686.97 * DAY  # 360 degrees at 0.52403958828 degrees a day
    multiples = {
        kind: [
            round(term.frequency * year / (2 * np.pi), 3)
            for term in model.terms
            if isinstance(term, kind)
        ]
        for kind in (Harmonics, Nutation)
    }
    # Spin to the fourth, polar motion to the second, nutation by its two rows of terms.
    assert sorted(multiples[Harmonics]) == [1, 1, 1, 2, 2, 2, 3, 4]
    assert sorted(multiples[Nutation]) == [0, 1, 1, 2, 2, 3, 3, 4, 5, 6]


def test_the_moon_has_its_tabulated_librations() -> None:
    moon = read_body("moon")
    assert isinstance(moon.orientation, TabulatedLibration)
    assert moon.tide_raisers == ("earth", "sun")


def test_a_copy_of_a_ready_made_file_is_the_same_body(write: Write) -> None:
    own, mars = read_body(write(MARS)), read_body("mars")
    assert own.orientation.values == mars.orientation.values
    assert repr(own) == repr(mars)


def test_every_parameter_of_a_rotation_has_a_unit() -> None:
    assert {unit_of(name).si for name in KNOWN} == {"rad", "rad / s", "rad / s2", "s", ""}


# ---------------------------------------------------------------------------------------------
# A body of one's own

SIMPLE = """\
name = "venus"
gm = "3.2486e14 m3 / s2"
equatorial_radius = "6051.8 km"
polar_radius = "6051.8 km"
orientation = "angles"

[rotation]
plane_node = "10 deg"
plane_inclination = "20 deg"
season_phase = "0 deg"
season_rate = "1.6 deg / d"

[rotation.parameters]
"pole.node_longitude" = "30 deg"
"pole.obliquity" = "177 deg"
"spin.angle" = "40 deg"
"spin.rate" = "-1.48 deg / d"
"""


def test_a_simple_rotation_needs_no_more_than_its_angles(write: Write) -> None:
    body = read_body(write(SIMPLE))
    assert isinstance(body, Body)
    assert (body.love_h2, body.tide_raisers) == (0.0, ("sun",))
    assert list(body.orientation.values) == [
        "pole.node_longitude",
        "pole.obliquity",
        "spin.angle",
        "spin.rate",
    ]


def test_terms_follow_from_the_names_of_the_parameters() -> None:
    terms = rotation_terms(
        ["spin.acceleration", "spin.annual_sin", "polar_motion.chandler_cos"], 0.5, 1e-7
    )
    by_name = {name: term for term in terms for name in term.names}
    # A power or the other half of a pair that is missing is asked for all the same.
    assert by_name["spin.acceleration"] == by_name["spin.rate"] == by_name["spin.angle"]
    assert isinstance(by_name["spin.rate"], Polynomial)
    assert isinstance(by_name["spin.annual_cos"], Harmonics)
    assert isinstance(by_name["polar_motion.chandler_period"], Wobble)
    assert "spin.semiannual_cos" not in by_name


# ---------------------------------------------------------------------------------------------
# What is wrong with a file


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1
    return text.replace(old, new)


def line_of(text: str, start: str) -> int:
    return 1 + next(k for k, line in enumerate(text.splitlines()) if line.startswith(start))


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ('gm = "3.2486e14 m3 / s2"\n', "", None, "own.toml: gm: a key is missing"),
        ('"6051.8 km"\npolar', '"6051.8 kg"\npolar', "equatorial", "in kg, which does not convert"),
        ('"10 deg"', '"10"', "plane_node", r"rotation.plane_node: is given without a unit"),
        ('"20 deg"', "20", "plane_incl", r"rotation.plane_inclination: has the wrong form"),
        ('name = "venus"', 'nmae = "venus"', None, "own.toml: name: a key is missing"),
        ('"angles"', '"angels"', "orientation", "is unknown; found 'angels'; expected angles or"),
        ('"angles"', '"librations of DE421"', "orientation", "orientation: is the Moon's"),
        ('"spin.rate"', '"spin.rates"', '"spin.rates"', "perhaps 'spin.rate'"),
        ('"spin.rate"', '"spin.acceleration"', "[rotation.par", r"spin.rate: a key is missing"),
        ('"pole.node_longitude"', '"core.factor"', "[rotation.par", "node_longitude: a key is mi"),
        ('"spin.rate" = "-1.48 deg / d"', '"spin.rate" = "1 deg"', '"spin.rate"', "not convert to"),
        ('"spin.angle"', '"spin.annual_cos"', "[rotation.par", "spin.angle: a key is missing"),
    ],
)
def test_a_mistake_is_shown_with_file_line_and_key(
    write: Write, old: str, new: str, line: str | None, message: str
) -> None:
    text = changed(SIMPLE, old, new)
    with pytest.raises(InputError, match=message) as caught:
        read_body(write(text))
    assert caught.value.source is not None
    assert caught.value.source.endswith("own.toml")
    assert caught.value.line == (None if line is None else line_of(text, line))


def test_keys_that_nobody_knows_are_refused(write: Write) -> None:
    for place, key in (("polar_radius", "polar_radios"), ("plane_node", "plane_nod")):
        text = SIMPLE.replace(f"{place} =", f'{key} = "1 km"\n{place} =')
        with pytest.raises(UnknownNameError, match=f"unknown key; found '{key}'") as caught:
            read_body(write(text))
        assert caught.value.line == line_of(text, key)


def test_nutation_asks_for_the_core(write: Write) -> None:
    row = (
        '\n[[rotation.nutation]]\nmultiple = 1\noffset = "0 deg"\n'
        'longitude = "-632.6 mas"\nobliquity = "-0.4 mas"\n'
    )
    with pytest.raises(InputError, match=r"parameters.core.factor: a key is missing"):
        read_body(write(SIMPLE + row))
    with pytest.raises(InputError, match=r"rotation.nutation\[2\].multiple: has the wrong form"):
        read_body(write(MARS.replace('multiple = 1\noffset = "0 deg"', "multiple = 1.5", 1)))


def test_an_impossible_body_is_refused_with_its_file(write: Write) -> None:
    text = changed(SIMPLE, 'polar_radius = "6051.8 km"', 'polar_radius = "7000 km"')
    with pytest.raises(InputError, match=r"own.toml: body venus: the polar radius lies between"):
        read_body(write(text))
    text = changed(SIMPLE, 'orientation = "angles"', 'orientation = "angles"\ntide_raisers = ["x"]')
    with pytest.raises(UnknownNameError, match=r"own.toml: body venus: unknown body that raises"):
        read_body(write(text))


def test_an_unknown_body_is_answered_with_the_known_ones(tmp_path: Path) -> None:
    with pytest.raises(UnknownNameError, match=r"found 'mras'; expected perhaps 'mars'"):
        read_body("mras")
    with pytest.raises(InputError, match=r"none.toml: the file is not found"):
        read_body(tmp_path / "none.toml")
    assert {"mars", "moon"} <= set(READY_MADE)
