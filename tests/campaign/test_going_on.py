"""Going on from half of the demonstration, with its measurements and with the information alone."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import wobble
from wobble.measurements.tracking import Tracking

SCENARIO = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"


@pytest.mark.slow
def test_half_of_the_demonstration_is_gone_on_from_with_its_measurements_or_without():
    scenario = wobble.read_scenario(SCENARIO)
    campaign = replace(scenario, editing=replace(scenario.editing, reweight=False))
    tracking = campaign.simulate(campaign.schedule(campaign.view_periods()))
    names = [name for name, _ in tracking.passes()]
    early = np.isin(tracking.pass_id, names[: len(names) // 2])
    whole = campaign.fit(tracking)

    def apart(solution):
        return np.abs(solution.values - whole.values) / whole.sigma_formal

    exact = campaign.fit(Tracking.concatenate([tracking[early], tracking[~early]]))
    turned = campaign.fit(Tracking.concatenate([tracking[~early], tracking[early]]))
    before = campaign.fit(tracking[early])
    linear = campaign.fit(tracking[~early], earlier=before.information)
    assert before.n_rejected == linear.n_rejected == exact.n_rejected == whole.n_rejected
    worst = whole.names[int(np.argmax(apart(linear)))]
    print(
        f"\n    sigmas apart: {apart(exact).max():.1e} with the measurements "
        f"({apart(turned).max():.1e} with the later ones first), "
        f"{apart(linear).max():.2f} ({worst}) with the information alone"
    )
    assert apart(exact).max() < 1e-9
    # Rounding in another order: a range rate computed in 64 bits is good to 3e-7 of its sigma.
    assert apart(turned).max() < 1e-7
    # The core's factor doubles from the one estimate to the other, and with it what is known of
    # the period.
    assert 0.01 < apart(linear).max() < 0.15
