"""How far a fit that goes on from half of the demonstration ends from the fit of all of it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import wobble

SCENARIO = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"


@pytest.mark.slow
def test_half_of_the_demonstration_is_gone_on_from_as_well_as_it_was_linear():
    scenario = wobble.read_scenario(SCENARIO)
    campaign = replace(scenario, editing=replace(scenario.editing, reweight=False))
    tracking = campaign.simulate(campaign.schedule(campaign.view_periods()))
    names = [name for name, _ in tracking.passes()]
    early = np.isin(tracking.pass_id, names[: len(names) // 2])
    before = campaign.fit(tracking[early])
    after = campaign.fit(tracking[~early], earlier=before.information)
    whole = campaign.fit(tracking)
    apart = np.abs(after.values - whole.values) / whole.sigma_formal
    print(f"\n    {apart.max():.2f} sigma apart, {whole.names[int(np.argmax(apart))]}")
    # The core's factor doubles from the one estimate to the other, and with it what is known of
    # the period.
    assert before.n_rejected == after.n_rejected == whole.n_rejected
    assert 0.01 < apart.max() < 0.15
