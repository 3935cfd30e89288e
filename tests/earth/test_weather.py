import numpy as np
import pytest

from wobble.earth.series import WeatherSeries
from wobble.earth.weather import standard_pressure, standard_temperature, water_vapour_pressure
from wobble.errors import InputError
from wobble.measurements.tracking import WEATHER_LIMITS


def steam_saturation_pressure(t):
    """Saturation over liquid water, Pa (Wagner & Pruss 2002, J. Phys. Chem. Ref. Data 31, 387,
    eq. 2.5; coefficients from memory, confirmed by the triple point below)."""
    tau = 1.0 - t / 647.096
    series = (
        -7.85951783 * tau
        + 1.84408259 * tau**1.5
        - 11.7866497 * tau**3
        + 22.6807411 * tau**3.5
        - 15.9618719 * tau**4
        + 1.80122502 * tau**7.5
    )
    return 22.064e6 * np.exp(647.096 / t * series)


def supercooled_saturation_pressure(t):
    """Saturation over supercooled water, Pa (Murphy & Koop 2005, Q. J. R. Meteorol. Soc. 131,
    1539, eq. 10; from memory)."""
    return np.exp(
        54.842763
        - 6763.22 / t
        - 4.210 * np.log(t)
        + 0.000367 * t
        + np.tanh(0.0415 * (t - 218.8))
        * (53.878 - 1331.22 / t - 9.44523 * np.log(t) + 0.014025 * t)
    )


def test_standard_atmosphere_matches_its_published_table():
    # U.S. Standard Atmosphere 1976, table I, geometric altitude, to a unit of the last digit; from
    # memory.
    height = np.array([0.0, 1000.0, 2000.0, 5000.0, 10_000.0])
    pressure = np.array([1013.25, 898.76, 795.01, 540.48, 264.99])
    temperature = np.array([288.150, 281.651, 275.154, 255.676, 223.252])
    np.testing.assert_allclose(standard_pressure(height), pressure, atol=0.01)
    np.testing.assert_allclose(standard_temperature(height), temperature, atol=0.001)


def test_saturation_agrees_with_the_international_steam_formulation():
    # Triple point of water, 611.657 Pa at 273.16 K (Guildner, Johnson & Jones 1976).
    assert steam_saturation_pressure(273.16) == pytest.approx(611.657, rel=2e-5)
    t = np.linspace(273.16, 323.15, 11)
    enhancement = 1.00062 + 3.14e-6 * 1013.25 + 5.6e-7 * (t - 273.15) ** 2
    saturation = water_vapour_pressure(100.0, t, 1013.25) * 100.0 / enhancement
    np.testing.assert_allclose(saturation, steam_saturation_pressure(t), rtol=1.2e-4)


@pytest.mark.parametrize(("celsius", "tolerance"), [(-5.0, 3e-4), (-20.0, 6e-4), (-40.0, 6e-3)])
def test_saturation_below_freezing_is_that_of_supercooled_water(celsius, tolerance):
    t = celsius + 273.15
    enhancement = 1.00062 + 3.14e-6 * 1013.25 + 5.6e-7 * celsius**2
    saturation = water_vapour_pressure(100.0, t, 1013.25) * 100.0 / enhancement
    assert saturation == pytest.approx(supercooled_saturation_pressure(t), rel=tolerance)


def test_moist_air_holds_slightly_more_vapour_than_vacuum():
    # Enhancement factor 1.0040 at 1013.25 hPa and 20 degrees Celsius (Giacomo 1982, Metrologia
    # 18, 33, table; from memory).
    ratio = water_vapour_pressure(100.0, 293.15, 1013.25) / (
        steam_saturation_pressure(293.15) / 100
    )
    assert ratio == pytest.approx(1.0040, abs=1e-4)


def test_vapour_pressure_is_proportional_to_humidity():
    e = water_vapour_pressure(np.array([0.0, 30.0, 60.0]), 290.0, 900.0)
    np.testing.assert_allclose(e, [0.0, e[1], 2.0 * e[1]], rtol=1e-15)


@pytest.mark.parametrize(
    ("humidity", "temperature", "pressure", "field"),
    [
        (50.0, 20.0, 1013.25, "temperature_k"),  # degrees Celsius
        (50.0, 293.15, 101_325.0, "pressure_hpa"),  # Pa
        (50.0, 293.15, 101.325, "pressure_hpa"),  # kPa
        (150.0, 293.15, 1013.25, "humidity_percent"),
        (50.0, np.nan, 1013.25, "temperature_k"),
    ],
)
def test_weather_in_a_wrong_unit_is_refused(humidity, temperature, pressure, field):
    with pytest.raises(InputError) as caught:
        water_vapour_pressure(humidity, np.array([290.0, temperature]), np.array([900.0, pressure]))
    assert caught.value.field == field


def test_a_range_error_counts_and_names_the_first_offender():
    with pytest.raises(InputError, match=r"2 of 3 values.*12000\.0.*-1000 to 11000 m"):
        standard_pressure(np.array([0.0, 12e3, 13e3]))


@pytest.mark.parametrize("quantity", list(WEATHER_LIMITS))
def test_measurements_series_and_formulas_have_the_same_limits(quantity):
    # What a table of measurements takes, the formulas for its delay must take, too.
    for limit in WEATHER_LIMITS[quantity]:
        weather = {"pressure_hpa": 900.0, "temperature_k": 280.0, "humidity_percent": 50.0}
        weather[quantity] = limit
        assert np.isfinite(water_vapour_pressure(**weather))
    assert WeatherSeries.LIMITS[quantity] == WEATHER_LIMITS[quantity]
