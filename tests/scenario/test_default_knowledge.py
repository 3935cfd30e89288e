"""What is taken to be known of a link where the scenario says nothing."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scenario_text import changed

import wobble
from wobble.constants import ASTRONOMICAL_UNIT, MAS
from wobble.errors import InputError
from wobble.estimation.default_knowledge import DEFAULTS, default_knowledge
from wobble.planet.parameter_units import unit_of


def campaign(folder: Path, text: str, *changes: tuple[str, str]) -> wobble.Campaign:
    path = folder / "campaign.toml"
    path.write_text(changed(text, *changes), encoding="utf-8")
    return wobble.read_scenario(path)


def test_every_default_has_a_source_and_a_sound_size() -> None:
    for pattern, known in DEFAULTS:
        assert known.sigma > 0
        # A citation, or the admission that there is none.
        assert re.search(r"\d{4}, .*from memory|common practice, no source", known.source), pattern
    # 0.2 mas at the distance of Mars from the Sun, 1.52 au (elementary).
    orbit = default_knowledge("ephemeris.mars.normal")
    assert orbit is not None
    assert orbit.sigma == pytest.approx(0.2 * MAS * 1.52 * ASTRONOMICAL_UNIT, rel=0.01)


def test_what_a_campaign_is_made_for_has_no_default() -> None:
    for name in ("pole.precession_rate", "core.period", "spin.annual_cos", "lander.finch.x"):
        assert default_knowledge(name) is None
        assert unit_of(name)


def test_the_scenario_goes_first_and_may_say_that_nothing_is_known(
    tmp_path: Path, short_text: str
) -> None:
    names = "station.alder.clock_offset", "station.broom.clock_offset", "station.cliff.clock_offset"
    said = '[estimate.a_priori]\n"station.alder.clock_offset" = "3 us"\n'
    said += '"station.broom.clock_offset" = "none"\n'
    found = campaign(
        tmp_path,
        short_text,
        (r"parameters = \[", 'parameters = ["station.*.clock_offset", '),
        (r"\[estimate\.a_priori\].*\n", said),
    ).parameters
    alder, broom, cliff = (found[name] for name in names)
    assert (alder.sigma, alder.sigma_source) == (pytest.approx(3e-6), "scenario")
    assert (broom.sigma, broom.sigma_source) == (np.inf, "")
    assert (cliff.sigma, cliff.sigma_source) == (1e-6, "common practice, no source")
    text = str(found)
    assert "common practice, no source" in text
    # The rotation's values are those of the body, with its own source.
    assert found["pole.precession_rate"].source.startswith("Konopliv et al. 2006, 2016")
    assert "] Konopliv et al. 2006, 2016" in text


def test_a_value_of_the_scenario_s_own_is_not_said_to_be_the_body_s(
    tmp_path: Path, short_text: str
) -> None:
    own = short_text + '\n[rotation]\n"spin.annual_cos" = "480 mas"\n'
    found = campaign(tmp_path, own).parameters
    assert found["spin.annual_cos"].source == "scenario"
    assert found["spin.annual_sin"].source != "scenario"


def test_a_considered_parameter_needs_no_more_than_its_name(
    tmp_path: Path, short_text: str, short_tracking: wobble.Tracking
) -> None:
    considering = (r"\[estimate\]\n", '[estimate]\nconsidered = ["ephemeris.mars.normal"]\n')
    solution = campaign(tmp_path, short_text, considering).fit(short_tracking)
    text = str(solution)
    assert "known beforehand by default to 220 m: ephemeris.mars.normal (frame of the" in text
    assert "considered ephemeris.mars.normal: one sigma of it moves" in text
    unknown = (r"\[estimate\.a_priori\].*\n", '[estimate.a_priori]\n"ephemeris.*" = "none"\n')
    with pytest.raises(InputError, match="a considered parameter needs a standard deviation"):
        campaign(tmp_path, short_text, considering, unknown)
