"""The table of measurements."""

import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.errors import InputError
from wobble.measurements.bookkeeping import repetitions
from wobble.measurements.tracking import Tracking


def columns(n: int = 4) -> dict:
    """Invented ranges and range rates of two passes."""
    counted = np.arange(n) % 2 == 1
    return {
        "pass_id": np.array([f"pass-{k // 2}" for k in range(n)]),
        "transmitter": np.full(n, "north"),
        "receiver": np.full(n, "east"),
        "lander": np.full(n, "rover"),
        "kind": np.where(counted, "range_rate", "range"),
        "epoch": Time("2021-03-01", scale="utc") + TimeDelta(60.0 * np.arange(n), format="sec"),
        "tag": np.full(n, "receive"),
        "count_time": np.where(counted, 60.0, np.nan),
        "value": np.arange(n) + 1.0,
        "sigma": np.full(n, 0.1),
        "frequency": np.full(n, 7.2e9),
    }


def test_rows_are_taken_by_mask_index_slice_and_number():
    tracking = Tracking(**columns())
    assert tracking[tracking.kind == "range"].value.tolist() == [1.0, 3.0]
    assert tracking[[3, 0]].value.tolist() == [4.0, 1.0]
    assert tracking[1:3].epoch[0] == tracking.epoch[1]
    assert tracking[-1].value.tolist() == [4.0]
    assert np.isnan(tracking[0].pressure_hpa).all()


def test_columns_cannot_be_changed_in_place():
    given = columns()
    tracking = Tracking(**given)
    given["value"][0] = 99.0
    assert tracking.value[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        tracking.value[0] = 99.0


@pytest.mark.parametrize(
    ("name", "row", "bad"),
    [
        ("value", 2, np.nan),
        ("value", 0, -1e11),  # received before it was sent
        ("value", 1, 3e8),  # faster than light
        ("sigma", 1, 0.0),
        ("sigma", 1, np.inf),
        ("frequency", 3, -1.0),
        ("count_time", 1, np.nan),
        ("count_time", 0, 60.0),
        ("count_time", 3, 0.0),
        ("kind", 0, "delay"),
        ("tag", 0, "bounce"),
        ("tag", 1, "transmit"),
        ("pass_id", 0, ""),
        ("lander", 3, ""),
    ],
)
def test_a_row_that_cannot_be_used_is_named_with_its_column(name, row, bad):
    changed = columns()
    values = changed[name].tolist()
    values[row] = bad
    changed[name] = np.array(values)
    with pytest.raises(InputError, match=rf"^{name}: row {row} cannot be used \(1 such\)"):
        Tracking(**changed)


def test_columns_of_another_length_or_type_are_refused():
    with pytest.raises(InputError, match="sigma"):
        Tracking(**{**columns(), "sigma": np.ones(3)})
    with pytest.raises(InputError, match="value"):
        Tracking(**{**columns(), "value": ["a", "b", "c", "d"]})
    with pytest.raises(InputError, match="humidity_percent"):
        Tracking(**columns(), humidity_percent=np.full(4, 101.0))


def test_only_utc_epochs_are_taken():
    with pytest.raises(InputError, match="utc"):
        Tracking(**{**columns(), "epoch": columns()["epoch"].tdb})
    with pytest.raises(InputError, match="UTC"):
        Tracking(**{**columns(), "epoch": np.arange(4.0)})


def test_tables_are_joined_in_order():
    tracking = Tracking(**columns(), meta={"scenario": "a"})
    joined = Tracking.concatenate([tracking[2:], tracking[:2]])
    assert joined.value.tolist() == [3.0, 4.0, 1.0, 2.0]
    assert (joined.epoch[2:] - tracking.epoch[:2]).to_value("s").tolist() == [0.0, 0.0]
    assert joined.meta == {"scenario": "a"}
    other = Tracking(**columns(), meta={"scenario": "b"})
    assert Tracking.concatenate([tracking, other]).meta == {
        "parts": [{"scenario": "a"}, {"scenario": "b"}]
    }
    one, two = (Tracking(**columns(), meta={"simulated": True, "seed": k}) for k in (1, 2))
    assert Tracking.concatenate([one, two]).meta == {
        "simulated": True,
        "parts": [one.meta, two.meta],
    }
    with pytest.raises(InputError, match="no tracking data"):
        Tracking.concatenate([])


def test_passes_come_in_the_order_of_the_file_with_all_their_rows():
    tracking = Tracking(**columns(6))[[4, 0, 5, 2, 1]]
    assert [(name, rows.tolist()) for name, rows in tracking.passes()] == [
        ("pass-2", [0, 2]),
        ("pass-0", [1, 4]),
        ("pass-1", [3]),
    ]
    assert list(tracking[:0].passes()) == []


def test_sorting_is_by_epoch_to_the_second_part():
    given = columns(3)
    start = Time(2_459_000.0, 0.25, format="jd", scale="utc")
    # A picosecond is far below what one float of days resolves.
    given["epoch"] = start + TimeDelta([2e-11, 0.0, 1e-11], format="sec")
    assert Tracking(**given).sorted().value.tolist() == [2.0, 3.0, 1.0]


def test_a_repeated_measurement_is_reported_whatever_its_value():
    given = columns(4)
    given["kind"] = np.full(4, "range")
    given["count_time"] = np.full(4, np.nan)
    tracking = Tracking(**given)
    doubled = Tracking.concatenate([tracking, Tracking(**{**given, "value": np.zeros(4)})[[2]]])
    assert repetitions(doubled) == [(4, 2)]
    assert repetitions(tracking) == []


def test_the_table_shows_itself():
    text = repr(Tracking(**columns()))
    assert text.splitlines() == [
        "<Tracking: 4 measurements",
        "  measurements: 2 range, 2 range_rate",
        "  span:         2021-03-01T00:00:00 to 2021-03-01T00:03:00 UTC",
        "  stations:     east, north",
        "  landers:      rover",
        "  passes:       2>",
    ]
    shown = Tracking(**{**columns(), "lander": np.full(4, "<b>")})._repr_html_()
    assert "2 range, 2 range_rate" in shown
    assert "&lt;b&gt;" in shown
