"""The signal in a scenario: bands, ratios, media."""

import pytest

from wobble.errors import InputError
from wobble.scenario.link_section import read_link
from wobble.text.toml_section import read_toml


def read(folder, text):
    path = folder / "scenario.toml"
    path.write_text(f"[link]\n{text}\n")
    return read_link(read_toml(path).section("link"))


@pytest.mark.parametrize(
    ("up", "down", "frequency", "ratio"),
    [
        # CCSDS 401.0-B, recommendations for turnaround frequency ratios.
        ("S", "S", "2.11 GHz", 240 / 221),
        ("S", "X", "2.11 GHz", 880 / 221),
        ("X", "X", "7.17 GHz", 880 / 749),
        ("X", "Ka", "7.17 GHz", 3344 / 749),
        ("Ka", "Ka", "34.4 GHz", 3360 / 3599),
    ],
)
def test_bands_choose_the_ratio(tmp_path, up, down, frequency, ratio):
    text = f'uplink_band = "{up}"\ndownlink_band = "{down}"\nuplink_frequency = "{frequency}"'
    media, found = read(tmp_path, text)
    assert media.turnaround == pytest.approx(ratio, rel=1e-15)
    assert found == pytest.approx(float(frequency.split()[0]) * 1e9)


def test_a_ratio_of_ones_own_stays_possible(tmp_path):
    media, frequency = read(tmp_path, 'turnaround = "3360/749"')
    assert media.turnaround == pytest.approx(3360 / 749)
    assert frequency == 7.17e9
    assert read(tmp_path, "gravity = []")[0].turnaround == pytest.approx(880 / 749)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            'uplink_band = "Ka"\ndownlink_band = "S"\nuplink_frequency = "34.4 GHz"',
            "link.uplink_band: no turnaround ratio between these bands; found 'Ka to S'",
        ),
        ('uplink_band = "X"\ndownlink_band = "Q"', "unknown band"),
        ('uplink_band = "X"', "link.downlink_band: a key is missing"),
        ('downlink_band = "X"', "link.uplink_band: a key is missing"),
        ('uplink_band = "S"\ndownlink_band = "S"', "uplink_frequency: a key is missing"),
        (
            'uplink_band = "X"\ndownlink_band = "X"\nuplink_frequency = "2.1 GHz"',
            "uplink_frequency: lies in another band; found 'S'",
        ),
        (
            'uplink_band = "X"\ndownlink_band = "X"\nuplink_frequency = "5 GHz"',
            "uplink_frequency: the frequency lies in no band",
        ),
        ('uplink_band = "X"\ndownlink_band = "X"\nturnaround = "880/749"', "beside bands"),
        ('turnaround = "-1/2"', "not positive"),
        ('ionosphere_content = "-1e17 1/m2"', "ionosphere_content: is out of its physical range"),
        ('ionosphere_content = "1e25 1/m2"', "physical range"),
        ("corona_scale = -1.0", "corona_scale: is out of its physical range"),
    ],
)
def test_what_no_link_has_is_refused(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        read(tmp_path, text)
