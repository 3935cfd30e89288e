"""The fit: iteration, what is known beforehand, what it refuses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from invented import (
    Array,
    TablePasses,
    epochs,
    keep,
    one_sample,
    seasonal_parameters,
    seasonal_pass,
    seasonal_passes,
)

from wobble.errors import ConvergenceError, InputError
from wobble.estimation.apriori import Apriori, Condition
from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import Convergence, fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.parameters import Parameter, ParameterSet

EVERYTHING = EditingRules(threshold=np.inf, reweight=False)
TRUTH = np.array([3.0, -1.0, 2.0, 0.5, -4.0, 1.0])


def test_without_editing_the_fit_is_weighted_least_squares() -> None:
    passes = seasonal_passes(20, TRUTH)
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters(30.0), EVERYTHING)
    # numpy.linalg.lstsq on all rows, the biases of all passes among the columns.
    blocks = []
    for i, one in enumerate(passes):
        rows = np.zeros((len(one) + 1, 6 + 2 * len(passes) + 1))
        rows[:-1, :6] = one.partials / one.sigma[:, None]
        rows[:-1, 6 + 2 * i : 8 + 2 * i] = one.local_partials / one.sigma[:, None]
        rows[:-1, -1] = one.residual / one.sigma
        rows[-1, 6 + 2 * i] = 1.0 / one.local_sigma[0]
        blocks.append(rows)
    blocks.append(np.eye(6, blocks[0].shape[1]) / 30.0)
    rows = np.vstack(blocks)
    scale = np.linalg.norm(rows[:, :-1], axis=0)
    expected = np.linalg.lstsq(rows[:, :-1] / scale, rows[:, -1], rcond=None)[0] / scale
    assert np.abs((solution.values - expected[:6]) / solution.sigma_formal).max() < 1e-8
    biases = np.array([solution.pass_estimate(n).value for one in passes for n in one.local_names])
    sigma = np.array([solution.pass_estimate(n).sigma for one in passes for n in one.local_names])
    assert np.abs((biases - expected[6:]) / sigma).max() < 1e-8
    rest = rows[:, -1] - rows[:, :-1] @ expected
    # The data alone: each pass ends with what was known of its bias, all with the parameters.
    of_data = np.concatenate([*(np.arange(len(b)) < len(b) - 1 for b in blocks[:-1]), [False] * 6])
    assert solution.misfit.chi_square == pytest.approx((rest[of_data] ** 2).sum(), rel=1e-9)
    orthonormal = np.linalg.qr(rows[:, :-1] / scale)[0]
    taken = (orthonormal[of_data] ** 2).sum()
    assert solution.misfit.degrees_of_freedom == pytest.approx(of_data.sum() - taken, rel=1e-9)


@dataclass
class Circle:
    """Distances from a point in a plane to known points: as non-linear as a position can be."""

    points: Array
    distances: Array
    wrong_sign: bool = False

    def equations(self, values: Array) -> Iterator[PassEquations]:
        apart = values - self.points
        computed = np.linalg.norm(apart, axis=1)
        partials = apart / computed[:, None]
        for i in range(len(self.points)):
            yield one_sample(
                f"C{i}",
                self.distances[i] - computed[i],
                1e-3,
                -partials[i] if self.wrong_sign else partials[i],
            )


def circle(rng: np.random.Generator) -> tuple[Circle, Array]:
    points, truth = rng.uniform(-10, 10, (24, 2)), np.array([3.0, 4.0])
    return Circle(
        points, np.linalg.norm(points - truth, axis=1) + 1e-3 * rng.normal(size=24)
    ), truth


def test_a_non_linear_problem_converges_from_far_away_gross_errors_or_not() -> None:
    model, truth = circle(np.random.default_rng(11))
    position = ParameterSet([Parameter("x", "m", -20.0), Parameter("y", "m", 25.0)])
    clean = fit(model, position)
    assert np.abs((clean.values - truth) / clean.sigma_formal).max() < 4.0
    assert clean.n_rejected == 0
    model.distances[[3, 11, 17]] += [40.0, -3.0, 0.05]
    spoilt = fit(model, position)
    assert set(spoilt.samples.pass_name[~spoilt.samples.accepted]) == {"C3", "C11", "C17"}
    assert np.abs((spoilt.values - clean.values) / clean.sigma_formal).max() < 1.0
    assert spoilt.iterations[-1].largest_step < 0.01


@dataclass
class Arctangent:
    """The classical case in which Newton's full step leads ever farther away."""

    def equations(self, values: Array) -> Iterator[PassEquations]:
        slope = np.array([1.0 / (1.0 + values[0] ** 2)])
        for i in range(5):
            yield one_sample(f"A{i}", -float(np.arctan(values[0])), 1e-3, slope)


def test_a_step_that_leads_away_is_halved() -> None:
    # Newton's iteration for arctan(x) = 0 diverges from |x| > 1.3917 (Dennis & Schnabel 1996,
    # Numerical Methods for Unconstrained Optimization and Nonlinear Equations, ch. 5).
    far = ParameterSet([Parameter("x", value=3.0)])
    solution = fit(Arctangent(), far)
    assert solution["x"].value == pytest.approx(0.0, abs=1e-6)
    assert sum(iteration.halvings for iteration in solution.iterations) > 0


@dataclass
class Fenced:
    """A linear problem with a place beyond which nothing can be computed."""

    truth: Array
    fence: float

    def equations(self, values: Array) -> Iterator[PassEquations]:
        if np.abs(values).max() > self.fence:
            raise InputError("height: out of range", found=float(np.abs(values).max()))
        for i in range(6):
            slope = np.array([1.0, 1.0 + 1e-4 * i])
            yield one_sample(f"F{i}", float(slope @ (self.truth - values)), 1e-3, slope)


def test_a_step_that_the_model_refuses_is_halved() -> None:
    class Guarded(Arctangent):
        def equations(self, values: Array) -> Iterator[PassEquations]:
            if abs(values[0]) > 5.0:  # where the full step from 3 leads
                raise InputError("out of range", found=float(values[0]))
            yield from super().equations(values)

    solution = fit(Guarded(), ParameterSet([Parameter("x", value=3.0)]))
    assert solution["x"].value == pytest.approx(0.0, abs=1e-6)


def test_estimates_beyond_what_can_be_computed_name_the_reason_and_what_is_weak() -> None:
    parameters = ParameterSet([Parameter("station.z", "m"), Parameter("station.delay", "m")])
    with pytest.raises(InputError, match="height: out of range") as caught:
        fit(Fenced(np.array([30.0, -20.0]), 10.0), parameters)
    said = str(caught.value)
    assert "the estimates go where the model cannot be computed" in said
    assert "hardly separated: these move together" in said
    assert "station.z by" in said
    assert "a priori values near the truth" in said
    # At the a priori values themselves the model's own message is the right one.
    with pytest.raises(InputError, match=r"^height"):
        fit(Fenced(np.zeros(2), 1.0), parameters.changed("station.z", value=2.0))


@dataclass
class Anchors:
    """Several distances to each of a few points: a pass for each point."""

    points: Array
    distances: Array

    def equations(self, values: Array) -> Iterator[PassEquations]:
        count = self.distances.shape[1]
        for i, point in enumerate(self.points):
            apart = values - point
            computed = np.linalg.norm(apart)
            nothing = np.zeros((count, 0))
            yield PassEquations(
                f"A{i}",
                np.full(count, "range"),
                epochs(i, count),
                self.distances[i] - computed,
                np.full(count, 1e-3),
                np.tile(apart / computed, (count, 1)),
                (),
                nothing,
                np.zeros(0),
                nothing,
            )


def test_what_the_first_linearisation_gets_wrong_is_not_held_against_the_passes() -> None:
    # From far away the second derivatives shift the passes of the near points as a whole,
    # like wrong constants do, and not those of the far ones.
    for seed in range(3):
        rng = np.random.default_rng(seed)
        points, truth = rng.uniform(-10, 10, (12, 2)), np.array([3.0, 4.0])
        points[3:] *= 1e5
        exact = np.linalg.norm(points - truth, axis=1)
        model = Anchors(points, exact[:, None] + 1e-3 * rng.normal(size=(12, 6)))
        position = ParameterSet([Parameter("x", "m", -8.0), Parameter("y", "m", 9.0)])
        solution = fit(model, position)
        assert solution.jumps == ()
        assert solution.n_rejected == 0
        assert np.abs((solution.values - truth) / solution.sigma_formal).max() < 4.0


def test_partial_derivatives_of_the_wrong_sign_do_not_pass_for_a_solution() -> None:
    model, _ = circle(np.random.default_rng(11))
    model.wrong_sign = True
    position = ParameterSet([Parameter("x", "m", 2.0), Parameter("y", "m", 5.0)])
    with pytest.raises(ConvergenceError, match="partial derivatives"):
        fit(model, position)


def test_too_few_iterations_are_no_solution() -> None:
    model, _ = circle(np.random.default_rng(11))
    position = ParameterSet([Parameter("x", "m", -20.0), Parameter("y", "m", 25.0)])
    with pytest.raises(ConvergenceError, match=r"after 2 iterations: [xy] still moves"):
        fit(model, position, convergence=Convergence(iterations=2))


def test_bad_input_is_named() -> None:
    passes = seasonal_passes(6, TRUTH)
    parameters = seasonal_parameters()
    with pytest.raises(InputError, match="no observation"):
        fit(TablePasses([], np.zeros(6)), parameters)
    with pytest.raises(InputError, match="no parameter is estimated"):
        fit(TablePasses(passes, np.zeros(6)), parameters.with_status("*", "fixed"))
    passes[2].residual[3] = np.nan
    with pytest.raises(InputError, match=rf"P002, {passes[2].epoch[3]}"):
        fit(TablePasses(passes, np.zeros(6)), parameters)


def test_a_parameter_that_no_datum_depends_on_is_named() -> None:
    passes = seasonal_passes(6, TRUTH)
    for one in passes:
        one.partials[:, 3] = 0.0
    with pytest.raises(InputError, match=r"pole\.term_3: no datum depends"):
        fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    known = seasonal_parameters().changed("pole.term_3", sigma=2.5, value=7.0)
    solution = fit(TablePasses(passes, np.zeros(6)), known)
    assert solution.not_improved == ("pole.term_3",)
    assert solution["pole.term_3"].value == pytest.approx(7.0)
    assert solution["pole.term_3"].sigma == pytest.approx(2.5)
    assert "not improved by the data" in str(solution)


def test_fewer_data_than_parameters_are_too_few() -> None:
    one = keep(seasonal_pass(np.random.default_rng(1), 3), np.arange(46) < 4)
    with pytest.raises(InputError, match="fewer data than parameters"):
        fit(TablePasses([one], np.zeros(6)), seasonal_parameters())


def test_a_combination_that_cannot_be_separated_is_told_in_words() -> None:
    # The axial coordinate of an equatorial lander against a range bias is of this kind.
    passes = seasonal_passes(10, TRUTH)
    for one in passes:
        one.partials[:, 4] = 2.0 * one.partials[:, 1]
    parameters = seasonal_parameters()
    with pytest.raises(InputError, match="cannot separate") as caught:
        fit(TablePasses(passes, np.zeros(6)), parameters)
    assert caught.value.field == "pole.term_1, pole.term_4" or (
        caught.value.field == "pole.term_4, pole.term_1"
    )
    assert "pole.term_0" not in str(caught.value)
    known = parameters.changed("pole.term_4", sigma=100.0)
    solution = fit(TablePasses(passes, np.zeros(6)), known)
    assert set(solution.weak[0].names) == {"pole.term_1", "pole.term_4"}
    moves = dict(solution.weak[0].members)
    assert moves["pole.term_1"] == pytest.approx(-2.0 * moves["pole.term_4"], rel=1e-4)
    assert "hardly separated" in str(solution)


def test_a_condition_is_fulfilled_exactly_and_equals_elimination_by_hand() -> None:
    passes = seasonal_passes(20, TRUTH)
    parameters = seasonal_parameters().with_conditions(
        Condition(("pole.term_1", "pole.term_4"), [[1.0, 1.0]], [-5.2])
    )
    solution = fit(TablePasses(passes, np.zeros(6)), parameters, EVERYTHING)
    assert solution.values[1] + solution.values[4] == pytest.approx(-5.2, abs=1e-12)
    spread = solution.covariance_formal
    assert spread[1, 1] + 2 * spread[1, 4] + spread[4, 4] == pytest.approx(0.0, abs=1e-12)
    # By hand: term_4 = -5.2 - term_1 put into the observations, five parameters left.
    by_hand = []
    for one in passes:
        partials = np.delete(one.partials, 4, axis=1)
        partials[:, 1] -= one.partials[:, 4]
        by_hand.append(
            replace(one, partials=partials, residual=one.residual + 5.2 * one.partials[:, 4])
        )
    left = ParameterSet(p for p in seasonal_parameters() if p.name != "pole.term_4")
    expected = fit(TablePasses(by_hand, np.zeros(5)), left, EVERYTHING)
    kept = [0, 1, 2, 3, 5]
    np.testing.assert_allclose(solution.values[kept], expected.values, atol=1e-11)
    np.testing.assert_allclose(solution.sigma_formal[kept], expected.sigma_formal, rtol=1e-9)


def test_a_condition_can_determine_what_the_data_cannot() -> None:
    passes = seasonal_passes(10, TRUTH)
    for one in passes:
        one.partials[:, 4] = one.partials[:, 1]
    names = ("pole.term_1", "pole.term_4")
    parameters = seasonal_parameters().with_conditions(Condition(names, [[1.0, -1.0]]))
    solution = fit(TablePasses(passes, np.zeros(6)), parameters)
    assert solution.values[1] == pytest.approx(solution.values[4], abs=1e-12)


def test_a_solution_continued_later_is_the_solution_of_all_data_at_once() -> None:
    passes = seasonal_passes(30, TRUTH)
    parameters = seasonal_parameters(20.0)
    whole = fit(TablePasses(passes, np.zeros(6)), parameters, EVERYTHING)
    first = fit(TablePasses(passes[:18], np.zeros(6)), parameters, EVERYTHING)
    second = fit(
        TablePasses(passes[18:], np.zeros(6)), parameters, EVERYTHING, earlier=first.information
    )
    assert np.abs((second.values - whole.values) / whole.sigma_formal).max() < 1e-9
    np.testing.assert_allclose(second.sigma_formal, whole.sigma_formal, rtol=1e-9)
    last, of_all = second.iterations[-1], whole.iterations[-1]
    assert last.chi_square == pytest.approx(of_all.chi_square, rel=1e-9)


def test_earlier_information_enters_a_larger_set_and_not_a_smaller_one() -> None:
    passes = seasonal_passes(20, TRUTH)
    first = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    wider = [
        replace(p, partials=np.column_stack([p.local_partials[:, 0], p.partials])) for p in passes
    ]
    more = ParameterSet([Parameter("station.range_bias", "m", sigma=1.0), *seasonal_parameters()])
    solution = fit(TablePasses(wider, np.zeros(7)), more, earlier=first.information)
    np.testing.assert_allclose(
        solution.sigma_formal[1:] / first.sigma_formal, 1 / np.sqrt(2), rtol=0.05
    )
    fewer = ParameterSet([p for p in seasonal_parameters() if p.name != "pole.term_2"])
    less = [replace(p, partials=np.delete(p.partials, 2, axis=1)) for p in passes]
    with pytest.raises(InputError, match=r"pole\.term_2"):
        fit(TablePasses(less, np.zeros(5)), fewer, earlier=first.information)


def test_a_pole_of_long_ago_gives_the_rate_to_its_uncertainty_over_the_span() -> None:
    # One campaign sees angle + rate t near t = 0 only; an angle of 45 years before, known to
    # 100 units, gives the rate to 100 / 45 (error propagation).
    rng = np.random.default_rng(2)
    times = np.linspace(-0.5, 0.5, 200)
    passes = [
        one_sample(f"T{i}", 1e-1 * rng.normal(), 1e-1, np.array([1.0, t]))
        for i, t in enumerate(times)
    ]
    parameters = ParameterSet([Parameter("angle"), Parameter("rate", sigma=1e6)])
    alone = fit(TablePasses(passes, np.zeros(2)), parameters)
    assert alone["rate"].sigma == pytest.approx(0.1 * np.sqrt(12 / 200), rel=0.1)
    noisy = [replace(p, sigma=p.sigma * 1e4, residual=p.residual * 1e4) for p in passes]
    old = Apriori(("angle", "rate"), [0.0], [[100.0**2]], design=[[1.0, -45.0]])
    together = fit(TablePasses(noisy, np.zeros(2)), parameters.with_apriori(old))
    from_span = np.hypot(100.0, 1e3 / np.sqrt(200)) / 45.0
    assert together["rate"].sigma == pytest.approx(from_span, rel=0.1)
