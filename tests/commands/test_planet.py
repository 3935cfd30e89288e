"""Commands on the planet: what they print and write, and what they say to nonsense."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from astropy.table import QTable
from click.testing import CliRunner, Result

from wobble.cli import main
from wobble.files.body_file import DATA

COMPUTED = (Path(str(DATA)) / "mars_computed.toml").read_text(encoding="utf-8")
CORE = ("--core-factor", "0.061", "--core-period", "-242.3")
# Konopliv et al. 2016, Icarus 274, 253; Le Maistre et al. 2023, Nature 619, 733 (from memory).
PUBLISHED = ("--rate", "-7608.3 +- 2.1 mas/yr", "--core-factor", "0.061 +- 0.006")
PUBLISHED += ("--core-period", "-242.3 +- 2.7 d")


def wobble(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def good(*arguments: object) -> str:
    result = wobble(*arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


# ---------------------------------------------------------------------------------------------
# Nutation


@pytest.fixture(scope="module")
def nutation(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("nutation") / "results"
    return folder, good("nutation", "mars", "--years", 20, *CORE, "--out", folder)


def test_nutation_prints_budget_series_and_core(nutation: tuple[Path, str]) -> None:
    _, text = nutation
    # -7608.3 +- 2.1 and 6.754 mas/yr: Konopliv et al. 2016; Baland et al. 2023.
    total = next(line for line in text.splitlines() if line.strip().startswith("total"))
    assert float(total.split()[1]) == pytest.approx(-7608.3, abs=2.1)
    assert "geodetic" in text
    assert "Phobos node" in text
    assert "With a liquid core: F = 0.0610, period -242.30 days" in text
    assert text.count("3 l ") == 2


def test_nutation_writes_tables_and_figures(nutation: tuple[Path, str]) -> None:
    folder, _ = nutation
    rigid, core = (QTable.read(folder / f"{n}.ecsv") for n in ("nutation", "nutation_core"))
    assert rigid.meta["ephemeris"] == "DE440"
    assert "H_D 0.00538017" in rigid.meta["computed"]
    # Transfer function by hand: 1 + F / (1 + period of the term / 242.3 d), prograde.
    row = list(rigid["argument"]).index("2 l")
    by_hand = 1.0 + 0.061 / (1.0 + 343.5 / 242.3)
    gained = core["prograde"][row] / rigid["prograde"][row]
    assert float(gained) == pytest.approx(by_hand, rel=1e-4)
    for name in ("nutation-amplitudes", "pole-path", "core-amplification"):
        svg = (folder / "figures" / f"{name}.svg").read_text(encoding="utf-8")
        assert svg.startswith("<svg")
        assert "mars" in svg


def test_nutation_as_json_is_one_object() -> None:
    found = json.loads(good("nutation", "mars", "--years", 20, "--harmonics", 4, *CORE, "--json"))
    assert found["precession_mas_yr"]["total"] == pytest.approx(-7608.3, abs=2.1)
    assert [term["argument"] for term in found["rigid"]["terms"]][:4] == ["l", "2 l", "3 l", "4 l"]
    annual = found["rigid"]["terms"][0]
    # Circles of 102 and 137 mas: Folkner et al. 1997, Science 278, 1749 (from memory).
    assert annual["prograde_mas"] == pytest.approx(102.0, abs=1.0)
    assert annual["retrograde_mas"] == pytest.approx(137.0, abs=1.0)
    assert found["core"] == {"factor": 0.061, "period_d": pytest.approx(-242.3)}
    assert found["with_core"]["precession_rate_mas_yr"] == pytest.approx(
        found["rigid"]["precession_rate_mas_yr"]
    )


# ---------------------------------------------------------------------------------------------
# Interior


@pytest.fixture(scope="module")
def interior(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    folder = tmp_path_factory.mktemp("interior") / "results"
    text = good("interior", *PUBLISHED, "--samples", 300, "--seed", 5, "--out", folder, "--json")
    return folder, json.loads(text)


def test_moment_of_mars_is_as_published(interior: tuple[Path, dict]) -> None:
    # C/MR^2 = 0.36367 +- 0.00010: Konopliv et al. 2016; Baland et al. 2020.
    found = interior[1]["polar_moment"]
    assert found["moment"] == pytest.approx(0.36367, abs=0.00005)
    assert found["moment_sigma"] == pytest.approx(0.00010, abs=0.000005)


def test_core_of_mars_is_as_published(interior: tuple[Path, dict]) -> None:
    # 1835 +- 55 km, entirely solid mantle: Le Maistre et al. 2023; uniform layers give some
    # 50 km less.
    radius = interior[1]["interior"]["core_radius"]
    assert radius["unit"] == "km"
    assert radius["median"] == pytest.approx(1835.0, abs=70.0)
    assert radius["low_68"] < radius["median"] < radius["high_68"]
    assert interior[1]["seed"] == 5
    assert any("two layers" in text for text in interior[1]["assumptions"])


def test_interior_writes_tables_and_figures(interior: tuple[Path, dict]) -> None:
    folder, found = interior
    samples = QTable.read(folder / "samples.ecsv")
    assert len(samples) == found["samples"]
    assert samples.meta["seed"] == 5
    table = QTable.read(folder / "interior.ecsv")
    row = list(table["quantity"]).index("core_radius")
    assert table["median"][row] == pytest.approx(np.median(samples["core_radius"]) / 1e3, rel=1e-5)
    assert len(table.meta["assumptions"]) == len(found["assumptions"])
    for name in ("core-radius-core-density", "core-radius-core-period"):
        assert (folder / "figures" / f"{name}.svg").exists()


def test_seed_decides_what_is_drawn(interior: tuple[Path, dict]) -> None:
    again, other = (
        json.loads(good("interior", *PUBLISHED, "--samples", 300, "--seed", seed, "--json"))
        for seed in (5, 6)
    )
    assert again == interior[1]
    assert other["interior"] != interior[1]["interior"]


def test_three_layers_are_said_to_be_three() -> None:
    text = good("interior", *PUBLISHED, "--samples", 100, "--model", "three-layer")
    assert "three layers: uniform core and uniform mantle under a crust 50 +- 10 km thick" in text
    assert "independent: pole.precession_rate, core.factor, core.period" in text


def test_a_solution_is_taken_and_completed_by_a_value(tmp_path: Path) -> None:
    """The period of the command line stands in for the one that the fit did not estimate."""
    parameters = {
        "pole.precession_rate": {"value": -7608.3, "unit": "mas / yr", "sigma_realistic": 2.1},
        "core.factor": {"value": 0.061, "unit": "", "sigma_realistic": 0.006},
        "spin.rate": {"value": 350.9, "unit": "deg / d", "sigma_realistic": 1e-6},
    }
    path = tmp_path / "solution.json"
    path.write_text(json.dumps({"parameters": parameters}), encoding="utf-8")
    alone = json.loads(good("interior", path, "--json"))
    assert "interior" not in alone
    assert alone["polar_moment"]["moment"] == pytest.approx(0.36367, abs=0.00005)
    complete = good("interior", path, "--core-period", "-242.3 +- 2.7 d", "--samples", 100)
    said = " ".join(complete.split())
    assert "no correlations given, taken as zero; independent: core.period" in said
    assert "core_radius" in complete


def test_without_a_core_the_moment_alone_comes_out() -> None:
    text = good("interior", "--rate", "-7608.3 +- 2.1 mas/yr")
    assert "C/MR^2 = 0.363" in text
    assert "Nothing is said of a core" in text


# ---------------------------------------------------------------------------------------------
# Angles


def test_angles_at_a_date_are_those_of_the_published_expressions(tmp_path: Path) -> None:
    # J2000.0 TDB is 64.184 s before noon UTC; 317.680854, 52.886439, 176.632060 degrees:
    # evaluation of Archinal et al. 2018.
    arguments = ("angles", "mars_iau", "--date", "2000-01-01T11:58:55.816", "--json")
    plane = ("--plane", "3.37919183 deg", "24.67682669 deg")
    found = json.loads(good(*arguments, *plane, "--out", tmp_path / "angles"))
    (row,) = found["angles"]
    assert row["alpha_deg"] == pytest.approx(317.680854407, abs=1e-8)
    assert row["delta_deg"] == pytest.approx(52.886439275, abs=1e-8)
    assert row["w_deg"] == pytest.approx(176.632059732, abs=1e-6)
    # Obliquity 25.1894 +- 0.0001: Yoder & Standish 1997; nutation of that day -0.0002.
    assert row["eps_deg"] == pytest.approx(25.1892, abs=2e-4)
    table = QTable.read(tmp_path / "angles" / "angles.ecsv")
    assert table["alpha"][0].to_value("deg") == pytest.approx(row["alpha_deg"], abs=1e-8)


def test_angles_as_series(tmp_path: Path) -> None:
    text = good("angles", "mars", "--series", "--years", 20, "--out", tmp_path / "series")
    assert "equatorial set" in text
    assert "orbit set" in text
    names = {p.name for p in (tmp_path / "series").iterdir()}
    assert names == {"angles_equatorial.ecsv", "angles_orbit.ecsv"}
    found = json.loads(good("angles", "mars", "--series", "--years", 20, "--json"))
    secular = found["angles_orbit"]["secular_deg_mas_yr_mas_yr2"]
    assert secular["psi"][1] == pytest.approx(-7608.3, abs=0.01)
    assert len(found["angles_equatorial"]["terms"]) == 6


# ---------------------------------------------------------------------------------------------
# Nonsense


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("nutation", "pluto"), "unknown body"),
        (("nutation", "venus"), "computed_nutation"),
        (("nutation", "mars", "--years", "2"), "too short"),
        (("nutation", "mars", "--years", "nan"), "--years"),
        (("nutation", "mars", "--years", "900"), "outside"),
        (("nutation", "mars", "--harmonics", "0"), "harmonics"),
        (("nutation", "mars", "--core-factor", "0.06"), "--core-period"),
        (("nutation", "mars", "--core-factor", "0.06", "--core-period", "240"), "negative period"),
        (("interior",), "nothing to infer from"),
        (("interior", "nowhere"), "no such folder"),
        (("interior", "--rate", "-7608"), "no value with an uncertainty"),
        (("interior", "--rate", "7608.3 +- 2.1 mas/yr"), "precession_rate"),
        (("interior", "--core-factor", "0.06 +- 0.01"), "pole.precession_rate"),
        (("interior", *PUBLISHED, "--samples", "1"), "--samples"),
        (("interior", *PUBLISHED, "--planet", "pluto"), "unknown planet"),
        (("interior", "--rate", "-7608 +- 2 mas/yr", "--core-period", "242 +- 3 d"), None),
        (("angles", "mars"), "--date or --series"),
        (("angles", "mars", "--date", "yesterday"), "not a date"),
        (("angles", "mars_iau", "--date", "2031-05-01"), "plane"),
        (("angles", "mars_computed", "--date", "1900-01-01"), "outside the span"),
        (("angles", "moon", "--series"), "no series"),
        (("angles", "mars", "--date", "2031-05-01", "--plane", "1", "2"), "without a unit"),
    ],
)
def test_nonsense_ends_with_status_two_and_one_message(
    arguments: tuple[str, ...], message: str | None, tmp_path: Path
) -> None:
    result = wobble(*arguments, "--out", tmp_path / "new")
    if message is None:  # a period without a factor says nothing of the core
        assert result.exit_code == 0
        return
    assert result.exit_code == 2, result.output
    assert message in result.stderr
    assert result.stderr.startswith("wobble: ")
    assert "Traceback" not in result.output
    assert result.stdout == ""
    assert not (tmp_path / "new").exists()


def test_mercury_is_refused_for_its_resonance(tmp_path: Path) -> None:
    path = tmp_path / "mercury.toml"
    path.write_text(COMPUTED.replace('name = "mars"', 'name = "mercury"', 1), encoding="utf-8")
    result = wobble("nutation", path)
    assert result.exit_code == 2
    assert "3:2 resonance of spin and orbit" in result.stderr


def test_a_resonance_on_a_forcing_is_refused() -> None:
    period = json.loads(good("nutation", "mars", "--years", 20, "--json"))["rigid"]["terms"][2]
    exact = repr(-period["period_d"])
    result = wobble(
        "nutation", "mars", "--years", 20, "--core-factor", 0.06, "--core-period", exact
    )
    assert result.exit_code == 2
    assert "core.period" in result.stderr
    assert "resonance" in result.stderr
