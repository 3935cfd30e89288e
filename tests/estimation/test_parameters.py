"""Parameters: names, units, patterns, a priori information."""

from __future__ import annotations

import math

import numpy as np
import pytest
from astropy import units

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.apriori import Apriori
from wobble.estimation.parameters import Parameter, ParameterSet, unit_scale


def some_parameters() -> ParameterSet:
    return ParameterSet(
        [
            Parameter("pole.precession_rate", "mas / yr", 0.0, 1e-15),
            Parameter("pole.obliquity", "deg", 0.4),
            Parameter("lander.alpha.x", "km", 3.4e6, 100.0),
            Parameter("lander.alpha.z", "km", 1e5, 100.0, status="considered"),
            Parameter("spin.rate", "deg / d", 7e-5, status="fixed"),
        ]
    )


def test_units_are_turned_into_si_and_radians() -> None:
    # 1 mas = pi / 180 / 3.6e6 rad, one Julian year = 365.25 days of 86400 s (IAU 1976).
    expected = math.pi / 180 / 3.6e6 / (365.25 * 86400)
    assert unit_scale("mas/yr") == pytest.approx(expected, rel=1e-15)
    assert unit_scale("mm/s") == 1e-3
    assert unit_scale("") == 1.0


def test_quantities_enter_with_their_units_and_sigma_in_another() -> None:
    rate = Parameter.from_quantities("pole.precession_rate", "-7608.3 mas/yr", "0.002 arcsec/yr")
    assert rate.unit == "mas / yr"
    assert rate.value / rate.scale == pytest.approx(-7608.3, rel=1e-15)
    assert rate.sigma / rate.scale == pytest.approx(2.0, rel=1e-12)
    length = Parameter.from_quantities("lander.alpha.x", 3.4 * units.km)
    assert length.value == pytest.approx(3400.0)
    assert math.isinf(length.sigma)


@pytest.mark.parametrize("sigma", [0.0, -1.0, math.nan])
def test_an_a_priori_sigma_that_is_not_positive_is_refused(sigma: float) -> None:
    with pytest.raises(InputError, match=r"pole\.obliquity.*positive"):
        Parameter("pole.obliquity", "deg", 0.4, sigma)


def test_bad_parameters_say_what_is_wrong() -> None:
    with pytest.raises(InputError, match="not a number"):
        Parameter("pole.obliquity", "deg", math.nan)
    with pytest.raises(InputError, match="unknown unit"):
        Parameter("pole.obliquity", "smoots")
    with pytest.raises(InputError, match="estimated or considered or fixed"):
        Parameter("pole.obliquity", "deg", status="guessed")
    with pytest.raises(InputError, match="considered parameter needs"):
        Parameter("pole.obliquity", "deg", status="considered")
    with pytest.raises(InputError, match="different dimensions"):
        Parameter.from_quantities("pole.obliquity", "25 deg", "3 m")
    with pytest.raises(InputError, match="not a value with its unit"):
        Parameter.from_quantities("pole.obliquity", "twenty-five")
    with pytest.raises(InputError, match="given twice"):
        ParameterSet([Parameter("spin.rate"), Parameter("spin.rate")])


def test_patterns_choose_in_the_order_of_the_set() -> None:
    chosen = some_parameters().select(["lander.*.z", "pole.*"])
    assert chosen == ("pole.precession_rate", "pole.obliquity", "lander.alpha.z")
    assert some_parameters().select("spin.rate") == ("spin.rate",)


def test_an_unknown_name_or_pattern_offers_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match=r"pole\.precession_rate"):
        some_parameters()["pole.precesion_rate"]
    with pytest.raises(UnknownNameError, match=r"pole\.obliquity"):
        some_parameters().select(["pole.obliquitty"])


def test_status_divides_the_set() -> None:
    parameters = some_parameters()
    assert parameters.estimated.names == parameters.names[:3]
    assert parameters.considered.names == ("lander.alpha.z",)
    changed = parameters.with_status("pole.*", "fixed")
    assert changed.estimated.names == ("lander.alpha.x",)
    assert parameters.estimated.names == parameters.names[:3]


def test_a_priori_rows_hold_own_sigmas_and_published_combinations() -> None:
    parameters = ParameterSet(
        [Parameter("a", sigma=2.0, value=5.0), Parameter("b"), Parameter("c")]
    )
    covariance = np.array([[4.0, 1.0], [1.0, 9.0]])
    parameters = parameters.with_apriori(Apriori(("c", "b"), [1.0, 2.0], covariance))
    information = np.zeros((3, 3))
    information[0, 0] = 1 / 4
    information[np.ix_([2, 1], [2, 1])] = np.linalg.inv(covariance)
    np.testing.assert_allclose(parameters.a_priori_information(), information, atol=1e-15)
    rows, values = parameters.a_priori_rows()
    best = np.linalg.lstsq(rows, values)[0]
    np.testing.assert_allclose(best, [5.0, 2.0, 1.0], rtol=1e-14)


def test_a_pole_of_another_epoch_constrains_pole_and_rate_together() -> None:
    # Error propagation of angle(t) = angle_0 + rate t, with angle_0 known exactly enough:
    # the sigma of the rate is the sigma of the old direction over the span.
    span, old, new = 45.0, 3.0, 1e-6
    parameters = ParameterSet([Parameter("angle", sigma=new), Parameter("rate")])
    parameters = parameters.with_apriori(
        Apriori(("angle", "rate"), [10.0], [[old**2]], design=[[1.0, -span]])
    )
    covariance = np.linalg.inv(parameters.a_priori_information())
    assert np.sqrt(covariance[1, 1]) == pytest.approx(old / span, rel=1e-9)


def test_a_covariance_that_does_not_fit_is_refused() -> None:
    with pytest.raises(InputError, match="do not match"):
        Apriori(("a", "b"), [1.0, 2.0], np.eye(3))
    with pytest.raises(InputError, match="not positive definite"):
        Apriori(("a", "b"), [1.0, 2.0], [[1.0, 2.0], [2.0, 1.0]])
    with pytest.raises(InputError, match="not symmetric"):
        Apriori(("a", "b"), [1.0, 2.0], [[1.0, 0.5], [0.1, 1.0]])
    with pytest.raises(UnknownNameError):
        some_parameters().with_apriori(Apriori(("a",), [1.0], [[1.0]]))
    mixed = some_parameters().with_apriori(
        Apriori(("lander.alpha.x", "lander.alpha.z"), [1.0, 2.0], np.eye(2))
    )
    with pytest.raises(InputError, match="different status"):
        _ = mixed.estimated


def test_the_set_shows_itself_in_user_units() -> None:
    text = str(some_parameters())
    assert "lander.alpha.x" in text
    assert "3400" in text
    assert "none" in text
    assert repr(some_parameters()) == "<ParameterSet: 3 estimated, 1 considered, 1 fixed>"
    assert "<td>lander.alpha.x</td>" in some_parameters()._repr_html_()
