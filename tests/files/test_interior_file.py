"""Assumptions on a planet's inside from a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wobble.errors import InputError, UnknownNameError
from wobble.files.interior_file import DATA, read_interior
from wobble.planet.core_compliance import ElasticMantle, GivenCompliance

MARS = (Path(str(DATA)) / "mars_interior.toml").read_text(encoding="utf-8")


def write(folder: Path, text: str) -> Path:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_mars_has_its_published_gravity() -> None:
    # C20 = -8.7502113235452894e-4, fully normalised, R = 3396.0 km: Genova et al. 2016, Icarus
    # 272, 228. k2 = 0.169 +- 0.006: Konopliv et al. 2016, Icarus 274, 253.
    found = read_interior("mars")
    assert found.figure.j2 == pytest.approx(np.sqrt(5.0) * 8.7502113235452894e-4, rel=3e-9)
    assert found.figure.j2_radius == 3.396e6
    assert isinstance(found.mantle, ElasticMantle)
    assert found.mantle.love_number == 0.169
    assert found.crust is not None
    assert found.crust.thickness == 5e4
    assert found.nutation == "mars"


def test_a_rigid_mantle_and_no_crust_can_be_asked_for(tmp_path: Path) -> None:
    text = MARS[: MARS.index("[crust]")].replace("love_number_sigma = 0.006", "beta = 0.0")
    found = read_interior(write(tmp_path, text.replace("love_number = 0.169", "gamma = 0.0")))
    assert found.mantle == GivenCompliance(0.0, 0.0)
    assert found.crust is None


def test_a_body_file_beside_it_is_found_there(tmp_path: Path) -> None:
    path = write(tmp_path, MARS.replace('nutation = "mars"', 'nutation = "body.toml"'))
    assert read_interior(path).nutation == tmp_path / "body.toml"


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("j2 = 1.95660673e-3", "j2 = -1.0", r"own\.toml.*j2.*not positive"),
        ("love_number = 0.169", "love_number = -0.1", r"own\.toml.*love_number.*not positive"),
        ('"3389.50 km"', '"3389.50"', r"line \d+.*mean_radius.*without a unit"),
        ("[mantle]", "[cloak]", "mantle"),
        ("thickness_sigma", "thickness_err", "unknown key.*thickness_sigma"),
    ],
)
def test_unphysical_assumptions_are_refused(tmp_path: Path, old: str, new: str, match: str) -> None:
    assert old in MARS
    with pytest.raises(InputError, match=match):
        read_interior(write(tmp_path, MARS.replace(old, new)))


def test_an_unknown_planet_is_refused() -> None:
    with pytest.raises(UnknownNameError, match=r"pluto.*mars"):
        read_interior("pluto")
