"""Sub-daily Earth rotation against the test cases of the IERS Conventions 2010."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.time import Time

from wobble.earth import subdaily
from wobble.earth.subdaily import (
    libration_variations,
    ocean_tide_variations,
    subdaily_variations,
    tidal_arguments,
)
from wobble.epochs import Epochs
from wobble.errors import InputError

MICROARCSECOND = np.pi / 180 / 3600e6


def epochs_of_utc(mjd: float) -> Epochs:
    return Epochs.from_time(Time(mjd, format="mjd", scale="utc"), scale="tt")


@pytest.fixture
def one_date_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """The Conventions' routines take one date for UT1 and for TT alike."""
    monkeypatch.setattr(subdaily, "utc_date", lambda epochs: epochs.julian_date)


def epochs_of_routine(mjd: float) -> Epochs:
    return Epochs.from_time(Time(mjd, format="mjd", scale="tt"), scale="tt")


@pytest.mark.usefixtures("one_date_for_all")
def test_libration_of_the_pole_matches_the_iers_test_case() -> None:
    """IERS Conventions 2010, ch. 5, test case of PMSDNUT2 (from memory).

    A coefficient of the table has one digit after the point, so 1e-6 leaves none in doubt;
    what remains is the routine's use of single-precision coefficients.
    """
    x, y, _ = libration_variations(epochs_of_routine(54335.0))
    np.testing.assert_allclose(x / MICROARCSECOND, 24.83144238273364834, atol=1e-6)
    np.testing.assert_allclose(y / MICROARCSECOND, -14.09240692041837661, atol=1e-6)


@pytest.mark.usefixtures("one_date_for_all")
@pytest.mark.parametrize(
    ("mjd", "microseconds"), [(44239.1, 2.441143834386761746), (55227.4, -2.655705844335680244)]
)
def test_libration_of_ut1_matches_the_iers_test_cases(mjd: float, microseconds: float) -> None:
    """IERS Conventions 2010, ch. 5, test cases of UTLIBR (from memory)."""
    _, _, ut1 = libration_variations(epochs_of_routine(mjd))
    np.testing.assert_allclose(ut1 * 1e6, microseconds, atol=1e-7)


def test_ocean_tides_match_the_iers_test_case() -> None:
    """IERS Conventions 2010, ch. 8, test case of ORTHO_EOP (from memory).

    That routine forms the same model from smooth admittances of the two bands instead of 71
    rounded amplitudes; half a microarcsecond of 160 lies between them.
    """
    x, y, ut1 = ocean_tide_variations(epochs_of_utc(47100.0))
    np.testing.assert_allclose(x / MICROARCSECOND, -162.8386373, atol=1.0)
    np.testing.assert_allclose(y / MICROARCSECOND, 117.7907526, atol=1.0)
    np.testing.assert_allclose(ut1 * 1e6, -23.3909237, atol=0.1)


def test_sidereal_time_is_taken_from_universal_time() -> None:
    """TAI - UTC is 33 s from 2006 to 2008 (IERS Bulletin C 30), so TT - UTC is 65.184 s.

    With TT in the place of UT1 the argument would be off by 4.8e-3 rad. GMST at 0h UT of
    2006-01-15 (MJD 53750) is 24110.54841 s + 8640184.812866 s T + 0.093104 s T^2 (Aoki et al.
    1982, Astron. Astrophys. 105, 359, eq. 14).
    """
    centuries = (53750.0 - 51544.5) / 36525
    seconds = 24110.54841 + 8640184.812866 * centuries + 0.093104 * centuries**2
    utc = Time("2006-01-15T00:00:00", scale="utc")
    gmst = tidal_arguments(Epochs.from_time(utc, scale="tt"))[0, 0] - np.pi
    turns = gmst / (2 * np.pi) - seconds / 86400
    assert abs(turns - np.round(turns)) * 2 * np.pi < 1e-8


def test_diurnal_tides_move_the_pole_in_prograde_circles() -> None:
    """IERS Conventions 2010, section 8.2: the retrograde diurnal band belongs to nutation.

    A prograde circle has equal sines of x and cosines of y and opposite other two.
    """
    series = subdaily._OCEAN_TIDES
    diurnal = series.multipliers[:, 0] == 1
    assert diurnal.sum() == 41
    rounding = 0.0101 * MICROARCSECOND
    sine, cosine = series.sine[diurnal], series.cosine[diurnal]
    np.testing.assert_allclose(sine[:, 0], cosine[:, 1], atol=rounding, rtol=0)
    np.testing.assert_allclose(cosine[:, 0], -sine[:, 1], atol=rounding, rtol=0)


# Amplitudes of the 71 lines in the tidal potential, mm, in the order of the table: Cartwright &
# Tayler 1971, Geophys. J. R. Astron. Soc. 23, 45, and Cartwright & Edden 1973, ibid. 33, 253, as
# in the routine CNMTX of the IERS Conventions 2010, ch. 8 (from memory).
POTENTIAL = """
-1.94 -1.25 -6.64 -1.51 -8.02 -9.47 -50.20 -1.80 -9.54 1.52 -49.45 -262.21 1.70 3.43 1.94 1.37
7.41 20.62 4.14 3.94 -7.14 1.37 -122.03 1.02 2.89 -7.30 368.78 50.01 -1.08 2.93 5.25 3.95 20.62
4.09 3.42 1.69 11.29 7.23 1.51 2.16 1.38 1.80 4.67 16.01 19.32 1.30 -1.02 -4.51 120.99 1.13
22.98 1.06 -1.90 -2.18 -23.58 631.92 1.92 -4.66 -17.86 4.47 1.97 17.20 294.00 -2.46 -1.02 79.96
23.83 2.59 4.47 1.95 1.17
"""


@pytest.mark.parametrize("band", [1, 2])
def test_every_ocean_tide_is_a_smooth_response_to_the_potential(band: int) -> None:
    """Response method (Munk & Cartwright 1966, Phil. Trans. R. Soc. A 259, 533), as the source
    of the table applied it: each line is its amplitude in the potential times an admittance
    that is a sum of three exponentials of the frequency, delays -2, 0 and 2 days. Three complex
    weights for a band against 41 or 30 lines: the test sees an error of 0.1 microarcseconds,
    or of 0.3 % in the largest lines.
    """
    series = subdaily._OCEAN_TIDES
    inside = series.multipliers[:, 0] == band
    hour = Epochs.of([0.0, 3600.0], scale="tt")
    turned = np.diff(np.unwrap(tidal_arguments(hour), axis=0), axis=0)[0]
    frequency = series.multipliers[inside] @ turned * 24  # rad/day
    potential = np.array(POTENTIAL.split(), float)[inside]
    lines = potential[:, None] * np.exp(1j * np.outer(frequency, [-2.0, 0.0, 2.0]))
    response = (series.sine + 1j * series.cosine)[inside]
    weights, *_ = np.linalg.lstsq(lines, response, rcond=None)
    misfit = np.abs(response - lines @ weights)
    # The potential behind the table differs by 0.1 % for P1 and 0.3 % for K2.
    rounding = np.array([0.03 * MICROARCSECOND, 0.03 * MICROARCSECOND, 0.003e-6])
    assert np.all(misfit < rounding + 0.003 * np.abs(response))


def test_the_whole_is_the_sum_of_both_for_many_epochs_at_once() -> None:
    epochs = Epochs.of(8e8 + 3600.0 * np.arange(50), scale="tt")
    whole = subdaily_variations(epochs)
    parts = zip(ocean_tide_variations(epochs), libration_variations(epochs), strict=True)
    for total, (tide, libration) in zip(whole, parts, strict=True):
        np.testing.assert_allclose(total, tide + libration, rtol=1e-12)
        assert total.shape == (50,)
    one = subdaily_variations(epochs[17])
    np.testing.assert_allclose([v[17] for v in whole], [v[0] for v in one], rtol=1e-9)


def test_a_plan_decades_ahead_has_its_tides_without_a_warning(
    recwarn: pytest.WarningsRecorder,
) -> None:
    subdaily_variations(Epochs.of(1.5e9, scale="tt"))
    assert not recwarn.list


def test_epochs_in_tdb_are_refused() -> None:
    with pytest.raises(InputError, match="function of TT"):
        subdaily_variations(Epochs.of(8e8, scale="tdb"))
