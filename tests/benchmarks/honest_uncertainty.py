"""Are the uncertainties honest? Hundreds of synthetic campaigns, each fitted.

    python tests/benchmarks/honest_uncertainty.py --campaigns 500 --json

The demonstration campaign's geometry, thinned to one pass a week and ten-minute counts, is
linearised once. Each campaign draws a truth from the a priori uncertainties, biases for each
pass, and noise from the full budget; the package's own fit (editing, variance components and
all) estimates the truth back, once with the budget's correlated noise and once with white
weights of the same standard deviations. For every global parameter the error divided by the
reported sigma should have a mean of zero and a standard deviation of one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import click
import numpy as np
from tqdm import tqdm

import wobble
from wobble.campaign.campaign import Campaign
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.tracking_model import TrackingModel, pass_geometry

SCENARIO = Path(__file__).parents[2] / "synthetic_passes" / "campaign.toml"


@dataclass
class Linear:
    """A linear observation model: the passes of one linearisation with residuals of its own."""

    passes: list[PassEquations]
    reference: np.ndarray
    residuals: list[np.ndarray]
    white: bool

    def equations(self, values):
        for equations, residual in zip(self.passes, self.residuals, strict=True):
            yield replace(
                equations,
                residual=residual - equations.partials @ (values - self.reference),
                whiten=None if self.white else equations.whiten,
            )


def thinned(campaign: Campaign) -> Campaign:
    """One pass a week, counts of ten minutes, a range every half hour."""
    rule = replace(campaign.rule, passes_per_week=1, count_time=600.0, range_interval=1800.0)
    return replace(campaign, rule=rule)


def passes_of(campaign: Campaign):
    """The linearised passes, and for each the factor of its noise."""
    network = campaign.plan_network
    tags = campaign.schedule(campaign.view_periods()).tags(campaign.rule, campaign.frequency)
    computed = network.compute(tags)
    factors = [
        campaign.budget.factor(pass_geometry(tags, computed, index)) for _, index in tags.passes()
    ]
    model = TrackingModel(network, tags, campaign.parameters, campaign.biases, campaign.budget)
    reference = campaign.parameters.estimated.values
    return list(model.equations(reference)), factors, reference


def drawn_truth(campaign, rng):
    """Values of the estimated parameters as likely as the a priori knowledge makes them.

    Least squares of what is known, each piece of it moved by its own error, has the a priori
    mean and covariance.
    """
    rows, values = campaign.parameters.estimated.a_priori_rows()
    scale = np.linalg.norm(rows, axis=0)
    noisy = values + rng.standard_normal(len(values))
    return np.linalg.lstsq(rows / scale, noisy)[0] / scale


def normalised_errors(campaign, passes, factors, reference, seed):
    """Errors over reported sigmas of one campaign: correlated weights, white weights."""
    rng = np.random.default_rng(seed)
    step = drawn_truth(campaign, rng) - reference
    residuals = [
        p.partials @ step
        + p.local_partials @ (p.local_sigma * rng.standard_normal(len(p.local_sigma)))
        + factor.colour(rng.standard_normal(len(p)))
        for p, factor in zip(passes, factors, strict=True)
    ]
    errors = []
    for white in (False, True):
        model = Linear(passes, reference, residuals, white)
        solution = fit(model, campaign.parameters, campaign.editing)
        errors.append((solution.values - reference - step) / solution.sigma_realistic)
    return errors


@click.command()
@click.option("--campaigns", default=500, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--json", "as_json", is_flag=True)
def main(campaigns: int, seed: int, as_json: bool) -> None:
    """Standard deviation and mean of error over sigma, for every global parameter."""
    campaign = thinned(wobble.read_scenario(SCENARIO))
    passes, factors, reference = passes_of(campaign)
    errors = np.array(
        [
            normalised_errors(campaign, passes, factors, reference, [seed, k])
            for k in tqdm(range(campaigns), desc="campaigns", disable=None)
        ]
    )
    names = campaign.parameters.estimated.names
    spread, mean = errors.std(axis=0), errors.mean(axis=0)
    if as_json:
        labels = ("correlated", "white")
        content = {
            name: {
                label: {"standard_deviation": spread[w, i], "mean": mean[w, i]}
                for w, label in enumerate(labels)
            }
            for i, name in enumerate(names)
        }
        click.echo(json.dumps({"campaigns": campaigns, "passes": len(passes)} | content, indent=1))
        return
    click.echo(f"{campaigns} campaigns of {len(passes)} passes; error / realistic sigma")
    click.echo(f"{'parameter':26s}   budget     mean    white     mean")
    for i, name in enumerate(names):
        numbers = (spread[0, i], mean[0, i], spread[1, i], mean[1, i])
        click.echo(f"{name:26s} " + " ".join(f"{number:8.3f}" for number in numbers))


if __name__ == "__main__":
    main()
