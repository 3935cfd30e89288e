"""Round trips predicted for data that are ambiguous without."""

import numpy as np
from astropy.time import Time

import wobble
from wobble.campaign.prediction import round_trip_prediction
from wobble.constants import SPEED_OF_LIGHT
from wobble.tdm.kvn import write_kvn
from wobble.tdm.writing import message_from


def test_the_prediction_is_good_enough_for_a_ramp_and_a_modulus(short_campaign, short_tracking):
    ranges = short_tracking[short_tracking.kind == "range"]
    predict = round_trip_prediction(short_campaign, simulated=True)
    for _, rows in ranges.passes():
        one = ranges[rows]
        ends = (str(one.transmitter[0]), str(one.receiver[0]), str(one.lander[0]))
        seconds = predict(one.epoch, *ends, "receive")
        # The truth differs from the a priori values, by some 70 m at the lander.
        error = seconds - 2.0 * one.value / SPEED_OF_LIGHT
        assert np.abs(error).max() < 1e-6
        assert np.abs(error).max() > 1e-9


def test_ranges_modulo_a_length_are_read_as_they_were(short_campaign, short_tracking, tmp_path):
    ranges = short_tracking[short_tracking.kind == "range"][:60]
    message = message_from(
        ranges, short_campaign.agreement, "EXAMPLE", Time("2031-08-01", scale="utc")
    )
    for segment in message.segments:
        segment.metadata["RANGE_MODULUS"] = "300"
        for row in segment.rows("RANGE"):
            segment.values[row] = repr(float(segment.values[row]) % 300.0)
    write_kvn(tmp_path / "modular.kvn", message)
    found, warnings = wobble.read_tracking([tmp_path / "modular.kvn"], short_campaign)
    # Of 8e7 km a float resolves 1.5e-8 km.
    np.testing.assert_allclose(found.value, ranges.value, rtol=0, atol=1e-4)
    assert warnings == []
