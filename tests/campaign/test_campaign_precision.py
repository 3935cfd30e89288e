"""What a schedule is worth before any measurement: predicted against fitted precision."""

import numpy as np
import pytest
from astropy.time import Time

from wobble.campaign.possible import only
from wobble.errors import InputError
from wobble.report.effort_figures import precision_against_passes


@pytest.fixture(scope="module")
def history(short_campaign, short_passes):
    return short_campaign.precision(short_passes)


def test_predicted_sigmas_are_those_of_the_fit_of_the_simulated_campaign(
    history, short_campaign, short_tracking
):
    # The fit's formal uncertainty, with every sample: the noise is the same budget's.
    solution = short_campaign.fit(short_tracking)
    assert solution.n_rejected <= 2
    np.testing.assert_allclose(history.after(27).formal, solution.sigma_formal, rtol=0.01)


def test_further_passes_are_worth_what_the_fit_that_goes_on_says(
    short_campaign, short_passes, short_tracking
):
    early = np.arange(len(short_passes)) < 12
    old = np.isin(short_tracking.pass_id, short_passes.pass_id[early])
    before = short_campaign.fit(short_tracking[old])
    whole = short_campaign.fit(short_tracking)
    history = short_campaign.precision(only(short_passes, ~early), earlier=before.information)
    # The information has the weights of the fit, with its variance components.
    np.testing.assert_allclose(history.formal[0], before.sigma_formal, rtol=0.01)
    np.testing.assert_allclose(history.formal[-1], whole.sigma_formal, rtol=0.01)


def test_what_is_left_of_a_campaign_begins_later_or_not_at_all(short_campaign, short_passes):
    middle = short_passes.stop[12]
    rest = short_campaign.starting(middle)
    assert (rest.view_periods().start >= middle).all()
    assert rest.span[1] == short_campaign.span[1]
    assert short_campaign.starting(Time("2020-01-01")).span[0] == short_campaign.span[0]
    with pytest.raises(InputError, match=r"campaign\.stop: nothing is left"):
        short_campaign.starting(short_campaign.span[1])


def test_no_pass_means_the_a_priori_uncertainty_and_more_passes_never_hurt(history, short_campaign):
    np.testing.assert_allclose(history.sigma[0], short_campaign.parameters.estimated.sigmas)
    assert (np.diff(history.formal, axis=0) <= 1e-12 * history.formal[:-1]).all()


def test_the_axial_coordinate_is_seen_by_range(history):
    # Known of the field: Doppler does not see it, range does (common practice, no source).
    z = history.of("lander.heron.z")
    assert z[-1] < z[0] / 50


def test_the_figure_shows_the_history_in_the_parameters_unit(history):
    axes = precision_against_passes(history, {"lander.heron.z": 5.0})
    drawn = axes.lines[0].get_ydata()
    np.testing.assert_allclose(drawn, history.of("lander.heron.z"))
    assert "(m)" in axes.get_ylabel()
    assert axes.get_xlabel() == "number of passes"
