"""Usual mistakes, each made on purpose, are named; sound data are not spoken of.

The laser ranges are measured ones (`tests/data/lunar_ranging/README.md`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from astropy.time import TimeDelta
from scenario_text import changed

import wobble
from wobble.campaign.campaign import Campaign
from wobble.constants import SPEED_OF_LIGHT
from wobble.measurements.tracking import Tracking

LUNAR = Path(__file__).parents[1] / "data" / "lunar_ranging" / "scenario.toml"
Damage = Callable[[Tracking], Tracking]


def late(seconds: float) -> Damage:
    return lambda data: replace(data, epoch=data.epoch + TimeDelta(seconds, format="sec"))


def times(factor: float, kind: str = "range_rate", sigma: float = 1.0) -> Damage:
    def damage(data: Tracking) -> Tracking:
        hit = data.kind == kind
        return replace(
            data,
            value=np.where(hit, factor * data.value, data.value),
            sigma=np.where(hit, sigma * data.sigma, data.sigma),
        )

    return damage


def tagged_at_start(data: Tracking) -> Tracking:
    half = np.where(data.kind == "range_rate", data.count_time / 2.0, 0.0)
    return replace(data, epoch=data.epoch - TimeDelta(half, format="sec"))


def tagged_at_transmission(data: Tracking) -> Tracking:
    """Ranges keep their tag, the times of range rates are those of transmission."""
    ranges = data.kind == "range"
    trip = np.interp(data.epoch.jd, data.epoch[ranges].jd, data.value[ranges]) * 2 / SPEED_OF_LIGHT
    return replace(data, epoch=data.epoch - TimeDelta(np.where(ranges, 0.0, trip), format="sec"))


def one_station_late(data: Tracking) -> Tracking:
    shift = np.where(data.receiver == "broom", 37.0, 0.0)
    return replace(data, epoch=data.epoch + TimeDelta(shift, format="sec"))


def some_passes_late(data: Tracking) -> Tracking:
    names = list(dict.fromkeys(data.pass_id.tolist()))
    shift = np.where(np.isin(data.pass_id, [names[1], names[4]]), 37.0, 0.0)
    return replace(data, epoch=data.epoch + TimeDelta(shift, format="sec"))


def stations_exchanged(data: Tracking) -> Tracking:
    def other(names: np.ndarray) -> np.ndarray:
        return np.where(names == "alder", "broom", np.where(names == "broom", "alder", names))

    return replace(data, transmitter=other(data.transmitter), receiver=other(data.receiver))


def one_station_named_as_another(data: Tracking) -> Tracking:
    def other(names: np.ndarray) -> np.ndarray:
        return np.where(names == "broom", "alder", names)

    return replace(data, transmitter=other(data.transmitter), receiver=other(data.receiver))


SYNTHETIC: dict[str, tuple[Damage, str]] = {
    "TAI for UTC": (late(37.0), "all data: times are 37 s late: TAI taken for UTC"),
    "GPS time for UTC": (late(18.0), "all data: times are 18 s late: GPS time taken for UTC"),
    "UTC for TAI": (late(-37.0), "all data: times are 37 s early: UTC taken for TAI"),
    "start of the count": (tagged_at_start, "start of the count, and not of its middle"),
    "transmission": (tagged_at_transmission, "those of transmission, and not of reception"),
    "other sign": (times(-1.0), "range rates have the other sign"),
    "whole rates": (times(2.0), "range rates are two-way, taken for one-way"),
    "half rates": (times(0.5), "range rates were halved once too often"),
    "kilometres": (times(1e-3, "range", 1e-3), "ranges are in kilometres, taken for metres"),
    "band": (times(749 / 221), "hertz became m/s with the frequency of S band in place of X"),
    "turnaround": (times(221 / 749), "with the turnaround ratio 880/221 in place of 880/749"),
    "one station's clock": (one_station_late, "station broom: times are 37 s late"),
    "some passes": (some_passes_late, "2 of the passes looked at (P002, P009): times are 37"),
    "names exchanged": (stations_exchanged, "names of the stations alder and broom are exchanged"),
    "wrong name": (one_station_named_as_another, "named station alder belongs to broom"),
}


@pytest.fixture(scope="module")
def two_stations(short_tracking: Tracking) -> Tracking:
    data = short_tracking[np.isin(short_tracking.receiver, ["alder", "broom"])]
    return data[np.isin(data.pass_id, list(dict.fromkeys(data.pass_id.tolist()))[:12])]


@pytest.mark.parametrize("mistake", SYNTHETIC)
def test_a_mistake_in_synthetic_data_is_named(
    mistake: str, two_stations: Tracking, short_campaign: Campaign
) -> None:
    damage, said = SYNTHETIC[mistake]
    found = short_campaign.diagnose(damage(two_stations))
    assert any(said in str(one) for one in found)
    assert found[0].after < 2.0
    assert found[0].before > 100.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((r'longitude = "137.4 deg"', 'longitude = "-137.4 deg"'), "longitude of lander heron is"),
        ((r'latitude = "4.6 deg"', 'latitude = "-4.6 deg"'), "latitude of lander heron has the"),
        (
            (
                r'longitude = "137.4 deg"\nlatitude = "4.6 deg"',
                'longitude = "4.6 deg"\nlatitude = "42.6 deg"',
            ),
            "latitude and longitude of lander heron are exchanged",
        ),
    ],
)
def test_a_mistake_in_the_lander_s_place_is_named(
    change: tuple[str, str], said: str, short_text: str, tmp_path: Path
) -> None:
    text = short_text
    if "exchanged" in said:  # of a lander whose longitude can be a latitude
        text = changed(text, (r'longitude = "137.4 deg"', 'longitude = "42.6 deg"'))
        change = (change[0].replace("137.4", "42.6"), change[1])
    right, wrong = tmp_path / "right.toml", tmp_path / "wrong.toml"
    right.write_text(text, encoding="utf-8")
    wrong.write_text(changed(text, change), encoding="utf-8")
    campaign = wobble.read_scenario(right)
    passes = campaign.schedule(campaign.view_periods())
    found = wobble.read_scenario(wrong).diagnose(campaign.simulate(passes))
    assert said in str(found[0])


def test_a_place_beyond_a_pole_is_refused(short_text: str, tmp_path: Path) -> None:
    path = tmp_path / "campaign.toml"
    path.write_text(changed(short_text, (r'"4.6 deg"', '"137.4 deg"')), encoding="utf-8")
    with pytest.raises(wobble.InputError, match="are latitude and longitude exchanged"):
        wobble.read_scenario(path)


@pytest.mark.parametrize("seconds", [0.0, 30.0])
def test_nothing_is_said_of_sound_data_or_of_no_usual_mistake(
    seconds: float, two_stations: Tracking, short_campaign: Campaign
) -> None:
    assert short_campaign.diagnose(late(seconds)(two_stations)) == ()


@pytest.fixture(scope="module")
def lunar() -> tuple[Campaign, Tracking]:
    campaign = wobble.read_scenario(LUNAR)
    tracking, _ = wobble.read_tracking(campaign.data_files, campaign)
    return campaign, tracking


def at_reception(data: Tracking) -> Tracking:
    trip = TimeDelta(2.0 * data.value / SPEED_OF_LIGHT, format="sec")
    return replace(data, epoch=data.epoch + trip)


def reflectors_exchanged(data: Tracking) -> Tracking:
    other = np.where(data.lander == "luna17", "apollo15", "luna17")
    return replace(data, lander=other)


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda data: data, None),
        (late(36.0), None),
        (late(35.0), "times are 35 s late: TAI taken for UTC"),
        (late(16.0), "times are 16 s late: GPS time taken for UTC"),
        (times(2.0, "range"), "ranges are the whole round trip"),
        (times(0.5, "range"), "ranges were halved once too often"),
        (times(1e-3, "range", 1e-3), "ranges are in kilometres"),
        (at_reception, "times are those of reception"),
        (reflectors_exchanged, "the names of the landers apollo15 and luna17 are exchanged"),
    ],
)
def test_a_mistake_in_measured_ranges_is_named(
    damage: Damage, said: str | None, lunar: tuple[Campaign, Tracking]
) -> None:
    campaign, data = lunar
    found = campaign.diagnose(damage(data))
    if said is None:
        assert found == ()
    else:
        assert said in str(found[0])


def test_a_fit_says_what_would_explain_it(short_campaign: Campaign, two_stations: Tracking) -> None:
    solution = short_campaign.fit(times(2.0)(two_stations))
    assert not solution.misfit.describes_data
    lines = str(solution).splitlines()
    assert lines[0].startswith("THE MODEL DOES NOT DESCRIBE THE DATA")
    assert lines[1].startswith("a usual mistake would explain it: range_rate: range rates are two")
    assert "two-way, taken for one-way" in solution._repr_html_()
    assert solution.as_json()["explanations"] == list(solution.explanations)
