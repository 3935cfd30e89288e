"""The noise budget as drawn."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.axes import Axes

from wobble.noise.budget import standard_budget, white_budget
from wobble.noise.contributions.solar_plasma import plasma_allan_deviation
from wobble.report.budget_figures import allan_deviations, contributions_by_sun_angle
from wobble.report.style import offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


def lines(axes: Axes) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    return {str(line.get_label()): line.get_data() for line in axes.lines}


def test_parts_add_in_squares_to_the_total() -> None:
    angles = np.radians([5.0, 30.0, 90.0])
    drawn = lines(contributions_by_sun_angle(standard_budget(), sun_angles=angles))
    total = drawn.pop("total")
    parts = np.sqrt(sum(values**2 for _, values in drawn.values()))
    # Contributions below a hundredth of the total are not drawn.
    assert parts == pytest.approx(total[1], rel=1e-2)
    assert total[0] == pytest.approx([5.0, 30.0, 90.0])


def test_plasma_is_drawn_with_its_published_allan_deviation() -> None:
    # Iess et al. 2014 (Acta Astronaut. 94, 699), at 1000 s; at 90 degrees the turbulence lies
    # at the Earth, both legs see it a round trip (1000 s for 1 au) apart, so that the two legs
    # are nearly, not fully, independent: within 20 %.
    only = standard_budget(without=[n for n in standard_budget().names if n != "solar_plasma"])
    drawn = lines(allan_deviations(only, averaging_times=np.array([1000.0])))
    expected = float(plasma_allan_deviation(np.pi / 2))
    assert drawn["solar plasma"][1] == pytest.approx(expected, rel=0.2)


def test_white_range_rates_fall_with_the_square_root_of_time() -> None:
    axes = allan_deviations(white_budget(1.0, 5e-5), averaging_times=np.array([60.0, 6000.0]))
    _, values = lines(axes)["total"]
    assert values[0] / values[1] == pytest.approx(10.0)
    # Two-way: y = 2 v / c; sigma_y = sigma(v) 2 / c for uncorrelated counts.
    assert values[0] == pytest.approx(2.0 * 5e-5 / 299_792_458.0)


def test_range_rates_are_drawn_in_millimetres_a_second() -> None:
    drawn = lines(contributions_by_sun_angle(white_budget(1.0, 5e-5)))
    assert drawn["white range rate"][1] == pytest.approx(0.05)
    # A contribution to ranges alone has nothing to show here.
    assert set(drawn) == {"white range rate", "total"}


def test_axes_have_units_and_plain_numbers() -> None:
    axes = contributions_by_sun_angle(standard_budget())
    axes.figure.draw_without_rendering()
    assert axes.get_xlabel() == "Sun-Earth-probe angle (deg)"
    assert "(mm/s)" in axes.get_ylabel()
    assert "20" in [label.get_text() for label in axes.get_xticklabels()]
    assert "0.01" in [label.get_text() for label in axes.get_yticklabels()]
    axes = allan_deviations(standard_budget())
    axes.figure.draw_without_rendering()
    assert "10⁻¹³" in [label.get_text() for label in axes.get_yticklabels()]
    assert axes.get_xlabel() == "averaging time (s)"
