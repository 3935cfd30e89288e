"""No measurement counts twice, and no two passes are taken for one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from astropy.time import TimeDelta

import wobble
from wobble.campaign.campaign import Campaign
from wobble.errors import InputError
from wobble.files.measurement_table import passes_text
from wobble.measurements.bookkeeping import passes_told_apart, repetitions
from wobble.measurements.tracking import Tracking


@pytest.fixture(scope="module")
def few(short_tracking: Tracking) -> Tracking:
    names = list(dict.fromkeys(short_tracking.pass_id.tolist()))[:6]
    return short_tracking[np.isin(short_tracking.pass_id, names)]


def renamed(data: Tracking) -> Tracking:
    return replace(data, pass_id=np.char.add("again ", data.pass_id))


def test_the_same_data_under_other_names_of_passes_are_not_fitted_twice(
    few: Tracking, short_campaign: Campaign
) -> None:
    both = Tracking.concatenate([few, renamed(few)])
    assert len(repetitions(both)) == len(few)
    with pytest.raises(InputError, match=rf"{len(few)} measurements stand twice.*again P001"):
        short_campaign.fit(both)


def test_a_time_that_is_rounded_otherwise_is_the_same_time(few: Tracking) -> None:
    other = replace(renamed(few), epoch=few.epoch + TimeDelta(3e-10, format="sec"))
    assert len(repetitions(Tracking.concatenate([few, other]))) == len(few)
    later = replace(renamed(few), epoch=few.epoch + TimeDelta(1e-3, format="sec"))
    assert repetitions(Tracking.concatenate([few, later])) == []


def test_files_that_repeat_one_another_are_read_once(
    few: Tracking, short_campaign: Campaign, tmp_path: Path
) -> None:
    paths = [tmp_path / "one.ecsv", tmp_path / "two.ecsv"]
    for path, data in zip(paths, (few, renamed(few)), strict=True):
        path.write_text(passes_text(data), encoding="utf-8")
    read, warnings = wobble.read_tracking(paths, short_campaign)
    assert len(read) == len(few)
    assert any(f"{len(few)} measurements stand twice" in text for text in warnings)


def test_passes_of_one_name_are_told_apart_by_station_and_day(
    few: Tracking, short_campaign: Campaign, tmp_path: Path
) -> None:
    shared = replace(few, pass_id=np.full(len(few), "P1"))
    apart, (said,) = passes_told_apart(shared)
    # As many passes as there were, each with the samples that it had.
    assert sorted(len(rows) for _, rows in apart.passes()) == sorted(
        len(rows) for _, rows in few.passes()
    )
    first = apart.pass_id[0]
    assert first == f"P1 {few.receiver[0]}-heron {few.epoch[0].isot[:10]}"
    assert "1 names of passes (P1) stand for several" in said
    assert passes_told_apart(few) == (few, [])
    with pytest.raises(InputError, match="one name for several passes"):
        short_campaign.fit(shared)
    path = tmp_path / "shared.ecsv"
    path.write_text(passes_text(shared), encoding="utf-8")
    read, warnings = wobble.read_tracking([path], short_campaign)
    assert len(np.unique(read.pass_id)) == 6
    assert any("told apart" in text for text in warnings)
