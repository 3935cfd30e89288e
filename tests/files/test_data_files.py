"""Files of measurements joined into one table."""

import numpy as np
import pytest
from test_passes_file import campaign

import wobble
from wobble.errors import InputError
from wobble.files.measurement_table import write_passes
from wobble.measurements.tracking import COLUMNS, Tracking


def moved(tracking, step):
    """The same measurements with their first value moved by a share of its sigma."""
    columns = {name: np.array(getattr(tracking, name)) for name in COLUMNS}
    columns["value"][0] += step * columns["sigma"][0]
    return Tracking(**columns, epoch=tracking.epoch, meta=tracking.meta)


def test_the_same_measurement_from_two_files_is_used_once_and_named(tmp_path):
    made = campaign()
    write_passes(tmp_path / "a.ecsv", made)
    write_passes(tmp_path / "b.ecsv", moved(made, 1e-4))
    found, (warning,) = wobble.read_tracking([tmp_path / "a.ecsv", tmp_path / "b.ecsv"])
    np.testing.assert_array_equal(found.value, made.value)
    assert f"{len(made)} measurements stand twice" in warning
    assert "b.ecsv, which stands in" in warning
    assert "a.ecsv already" in warning


def test_values_that_contradict_each_other_are_refused(tmp_path):
    made = campaign()
    write_passes(tmp_path / "a.ecsv", made)
    write_passes(tmp_path / "b.ecsv", moved(made, 0.01))
    with pytest.raises(InputError, match=r"b\.ecsv.*contradicts .*a\.ecsv: the "):
        wobble.read_tracking([tmp_path / "a.ecsv", tmp_path / "b.ecsv"])


def test_messages_need_a_campaign_with_an_agreement(tmp_path):
    (tmp_path / "a.kvn").write_text("CCSDS_TDM_VERS = 2.0\n")
    with pytest.raises(InputError, match=r"leaves to the parties.*data\.agreement"):
        wobble.read_tracking([tmp_path / "a.kvn"])
