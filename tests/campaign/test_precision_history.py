"""Precision against effort: closed forms of straight-line fits, general least squares."""

import mpmath
import numpy as np
import pytest

from wobble.campaign.candidates import CandidatePasses, compress, overlapping
from wobble.campaign.precision import UnreachableTarget, precision_history, precision_of
from wobble.errors import InputError, UnknownNameError


def passes(blocks, names, a_priori=None, **more):
    """Passes a day apart, of half an hour, from two stations in turn."""
    n = len(blocks)
    return CandidatePasses(
        parameters=tuple(names),
        blocks=tuple(np.atleast_2d(np.asarray(block, float)) for block in blocks),
        a_priori=np.zeros((0, len(names))) if a_priori is None else np.asarray(a_priori, float),
        station=np.array(["north", "south"])[np.arange(n) % 2],
        start=np.arange(n) * 86_400.0,
        hours=np.full(n, 0.5),
        **more,
    )


def straight_line(times, sigma=1.0, **more):
    """One observation of offset + rate * time a pass."""
    return passes([[[1 / sigma, t / sigma]] for t in times], ("offset", "rate"), **more)


def random_passes(seed, n=12, p=5, considered=0):
    rng = np.random.default_rng(seed)
    blocks = rng.normal(size=(n, 3, p + considered)) * 10.0 ** rng.uniform(-4, 4, p + considered)
    return passes(
        blocks,
        [f"x{j}" for j in range(p)],
        considered=tuple(f"c{j}" for j in range(considered)),
        considered_sigma=rng.uniform(0.5, 2.0, considered),
    )


def test_straight_line_has_the_textbook_precision_after_each_pass():
    # Var(slope) = s^2 / sum((t - mean t)^2): Bevington & Robinson 2003, Data Reduction and
    # Error Analysis for the Physical Sciences, eq. 6.23.
    times = np.array([0.0, 1.0, 4.0, 5.5, 9.0, 12.0])
    history = precision_history(straight_line(times, sigma=0.3))
    for n in range(2, len(times) + 1):
        spread = ((times[:n] - times[:n].mean()) ** 2).sum()
        assert history.of("rate")[n] == pytest.approx(0.3 / np.sqrt(spread), rel=1e-12)
        mean_square = (times[:n] ** 2).mean()
        assert history.of("offset")[n] == pytest.approx(
            0.3 * np.sqrt(mean_square / spread), rel=1e-12
        )


def test_every_step_agrees_with_the_covariance_of_a_general_least_squares():
    # numpy.linalg.pinv is the reference; columns differ by up to eight orders of magnitude.
    candidates = random_passes(3)
    history = precision_history(candidates)
    for n in (2, 5, 12):
        stacked = np.vstack(candidates.blocks[:n])
        expected = np.linalg.norm(np.linalg.pinv(stacked, rcond=1e-13), axis=1)
        np.testing.assert_allclose(history.sigma[n], expected, rtol=1e-9)


def test_thousands_of_rows_are_taken_in_by_parts_without_loss():
    candidates = random_passes(6, n=3000)
    expected = np.linalg.norm(np.linalg.pinv(np.vstack(candidates.blocks), rcond=1e-13), axis=1)
    np.testing.assert_allclose(precision_of(candidates, range(3000)).sigma, expected, rtol=1e-9)


def test_order_of_the_passes_does_not_matter_in_the_end():
    candidates = random_passes(4)
    forward = precision_history(candidates)
    backward = precision_history(candidates, order=np.arange(len(candidates))[::-1])
    np.testing.assert_allclose(forward.sigma[-1], backward.sigma[-1], rtol=1e-11)
    assert not np.allclose(forward.sigma[3], backward.sigma[3], rtol=1e-2)
    np.testing.assert_allclose(forward.after(5).sigma, forward.sigma[5], rtol=1e-11)


def test_nearly_dependent_partials_keep_their_digits():
    # Normal equations of such columns (Lauchli 1961, Numer. Math. 3, 226) are singular in
    # double precision: 1 + e^2 rounds to 1. Fifty digits (mpmath) are the judge.
    e = 1e-9
    candidates = passes([[[1.0, 1.0], [e, 0.0]], [[0.0, e]]], ("a", "b"))
    with mpmath.workdps(50):
        a = mpmath.matrix([[1, 1], [e, 0], [0, e]])
        variance = (a.T * a) ** -1
        expected = [float(mpmath.sqrt(variance[j, j])) for j in range(2)]
    np.testing.assert_allclose(precision_of(candidates, [0, 1]).sigma, expected, rtol=1e-6)


def test_rate_improves_with_the_span_and_not_only_with_the_number():
    # n evenly spaced passes: sigma = s sqrt(12 (n - 1) / (n (n + 1))) / T. Ten times the
    # passes in the same span gain about 10^(1/2), ten times the span with as many gain 10.
    def sigma(n, span):
        return precision_history(straight_line(np.linspace(0, span, n))).of("rate")[-1]

    for n, span in ((40, 1.0), (40, 10.0), (400, 1.0)):
        assert sigma(n, span) == pytest.approx(
            np.sqrt(12 * (n - 1) / (n * (n + 1))) / span, rel=1e-10
        )
    cadence = precision_history(straight_line(np.arange(400.0))).of("rate")
    assert cadence[100] / cadence[400] == pytest.approx(8.0, rel=1e-3)


def test_direction_known_decades_earlier_turns_a_poor_rate_into_a_good_one():
    # Two directions, each known to 20 mas, 20 years apart: sqrt(20^2 + 20^2) / 20 mas/yr.
    # Alone, half a year of passes leaves the rate known to tens of mas/yr.
    times = np.linspace(0.0, 0.5, 60)
    early = [[1 / 20.0, -20.0 / 20.0]]
    alone = precision_history(straight_line(times - 0.25, sigma=20.0 * np.sqrt(60)))
    both = precision_history(straight_line(times - 0.25, sigma=20.0 * np.sqrt(60), a_priori=early))
    assert alone.of("rate")[-1] > 50.0
    # The early direction ties the rate to the offset; the passes' own word on it is
    # weighted in, 1 / (1 / two^2 + 1 / alone^2).
    two = np.hypot(20.0, 20.0) / 20.0
    assert both.of("rate")[-1] == pytest.approx(
        (two**-2 + alone.of("rate")[-1] ** -2) ** -0.5, rel=1e-10
    )
    assert both.of("rate")[-1] < 1.5


def test_considered_parameters_enter_as_in_a_consider_covariance():
    # P + S Pc S^T with S = -(A^T A)^-1 A^T C (Tapley, Schutz & Born 2004, Statistical Orbit
    # Determination, sect. 6.3); numpy.linalg.lstsq gives S.
    candidates = random_passes(5, considered=2)
    stacked = np.vstack(candidates.blocks)
    a, c = stacked[:, :5], stacked[:, 5:]
    sensitivity = -np.linalg.lstsq(a, c, rcond=1e-14)[0]
    formal = np.linalg.norm(np.linalg.pinv(a, rcond=1e-13), axis=1)
    effects = sensitivity * candidates.considered_sigma
    found = precision_of(candidates, range(12))
    np.testing.assert_allclose(found.effects, effects, rtol=1e-8)
    np.testing.assert_allclose(found.formal, formal, rtol=1e-9)
    expected = np.sqrt(formal**2 + (effects**2).sum(axis=1))
    np.testing.assert_allclose(found.sigma, expected, rtol=1e-9)


def test_realistic_precision_can_suffer_from_a_pass_that_a_considered_parameter_spoils():
    # One parameter; the second pass has half the noise but a considered bias of 3:
    # weights 1/5 and 4/5, so sigma^2 = 1/5 + (4/5 * 3)^2 instead of 1.
    candidates = passes(
        [[[1.0, 0.0]], [[2.0, 2.0]]], ("x",), considered=("bias",), considered_sigma=np.array([3.0])
    )
    history = precision_history(candidates)
    np.testing.assert_allclose(history.formal[1:, 0], [1.0, np.sqrt(0.2)], rtol=1e-14)
    np.testing.assert_allclose(history.of("x")[1:], [1.0, np.sqrt(0.2 + 2.4**2)], rtol=1e-14)
    assert history.passes_needed("x", 1.0).passes == 1


def test_derived_quantity_follows_its_gradient_and_may_be_known_before_its_parts():
    # Each pass sees a + b; only the third sees b alone.
    candidates = passes([[[1.0, 1.0]], [[1.0, 1.0]], [[0.0, 1.0]]], ("a", "b"))
    history = precision_history(candidates, derived={"sum": [1.0, 1.0], "twice": [2.0, 2.0]})
    assert history.quantities == ("a", "b", "sum", "twice")
    np.testing.assert_allclose(history.of("sum"), [np.inf, 1.0, np.sqrt(0.5), np.sqrt(0.5)])
    np.testing.assert_allclose(history.of("twice"), 2 * history.of("sum"))
    np.testing.assert_allclose(history.of("a"), [np.inf, np.inf, np.inf, np.sqrt(1.5)])
    assert history.after(2).limitation("a").kind == "undetermined"
    assert history.after(2).limitation("sum").kind == "formal noise"


def test_what_limits_a_quantity_is_named():
    # Times far from the origin: offset and rate are almost one thing.
    far = precision_of(straight_line(100.0 + np.arange(5.0)), range(5))
    geometry = far.limitation("offset")
    assert (geometry.kind, geometry.parameter) == ("geometry", "rate")
    # Share from the correlation of a straight line, r^2 = mean(t)^2 / mean(t^2).
    times = 100.0 + np.arange(5.0)
    assert geometry.share == pytest.approx(times.mean() ** 2 / (times**2).mean(), rel=1e-10)

    centred = precision_of(straight_line(np.arange(-2.0, 3.0)), range(5))
    assert centred.limitation("offset").kind == "formal noise"
    assert centred.limitation("offset").share == pytest.approx(1.0)
    assert centred.limitation("offset").parameter == ""

    spoilt = passes(
        [[[1.0, 0.1, 5.0]]] * 4,
        ("x",),
        considered=("station", "plasma"),
        considered_sigma=np.array([1.0, 1.0]),
    )
    limit = precision_of(spoilt, range(4)).limitation("x")
    assert (limit.kind, limit.parameter) == ("considered parameter", "plasma")
    assert limit.share == pytest.approx(25.0 / (0.25 + 0.01 + 25.0))

    # The passes see the sum, which is not enough for either, however well they see it.
    summed = passes([[[1e3, 1e3]]], ("a", "b"), a_priori=[[0.5, 0.0], [0.0, 0.25]])
    both = precision_of(summed, [0], {"sum": [1.0, 1.0]})
    for name, other in ("ab", "ba"):
        limit = both.limitation(name)
        assert (limit.kind, limit.parameter) == ("a priori knowledge", other)
    assert both.formal[1] < 0.5 * both.a_priori[1]
    assert both.limitation("sum").kind != "a priori knowledge"
    np.testing.assert_allclose(both.a_priori_share, [1.0, 1.0, 0.0], atol=1e-6)

    known = passes([[[0.1]]], ("x",), a_priori=[[1.0]])
    assert precision_of(known, [0]).limitation("x").kind == "a priori knowledge"
    assert precision_of(known, []).sigma[0] == pytest.approx(1.0)


def test_earlier_measurements_are_known_but_not_a_priori():
    # One value: known to 1, measured before to 0.1, and once more to 0.5.
    again = passes([[[2.0]]], ("x",), a_priori=[[1.0]], earlier=np.array([[10.0]]))
    history = precision_history(again)
    np.testing.assert_allclose(history.of("x"), [101.0**-0.5, 105.0**-0.5], rtol=1e-14)
    after = history.after(1)
    assert after.a_priori[0] == pytest.approx(1.0)
    # Of a variance of 1/105 the a priori value has (1/105)^2.
    assert after.a_priori_share[0] == pytest.approx(1.0 / 105.0)
    assert after.limitation("x").kind == "formal noise"
    with pytest.raises(InputError, match="earlier"):
        passes([[[2.0]]], ("x",), earlier=np.array([[10.0, 1.0]]))


def test_passes_needed_tells_number_date_hours_and_stations():
    history = precision_history(straight_line(np.arange(10.0)))
    # Six passes give sum((t - mean)^2) = 17.5, five 10.
    reached = history.passes_needed("rate", 0.25)
    assert reached.passes == 6
    assert reached.sigma == pytest.approx(17.5**-0.5)
    assert reached.date == pytest.approx(5 * 86_400.0 + 1800.0)
    assert reached.hours == pytest.approx(3.0)
    assert reached.station_hours == {"north": 1.5, "south": 1.5}
    assert reached.limitation.kind == "geometry"
    assert reached.limitation.parameter == "offset"
    np.testing.assert_allclose(history.hours, 0.5 * np.arange(11))
    assert history.date[0] == 0.0
    assert (np.diff(history.date) > 0).all()


def test_dates_never_run_backwards_when_the_order_is_not_that_of_time():
    history = precision_history(straight_line(np.arange(4.0)), order=[3, 0, 2])
    end = 3 * 86_400.0 + 1800.0
    np.testing.assert_allclose(history.date, [0.0, end, end, end])


def test_what_is_known_beforehand_needs_no_pass():
    history = precision_history(straight_line(np.arange(3.0), a_priori=[[0.0, 10.0]]))
    reached = history.passes_needed("rate", 0.1)
    assert (reached.passes, reached.hours, reached.station_hours) == (0, 0.0, {})


def test_target_that_the_passes_do_not_reach_tells_the_best():
    history = precision_history(straight_line(np.arange(5.0)))
    with pytest.raises(UnreachableTarget, match=r"after 5 of 5 passes.*0\.316228 or more") as error:
        history.passes_needed("rate", 0.01)
    assert error.value.best == pytest.approx(0.1**0.5)


@pytest.mark.parametrize("wanted", [0.0, -1.0, np.nan, np.inf])
def test_wanted_precision_must_be_a_positive_number(wanted):
    with pytest.raises(InputError, match="positive and finite"):
        precision_history(straight_line(np.arange(3.0))).passes_needed("rate", wanted)


def test_unknown_quantities_are_answered_with_the_nearest():
    history = precision_history(straight_line(np.arange(3.0)))
    with pytest.raises(UnknownNameError, match="perhaps 'rate'"):
        history.of("rates")
    with pytest.raises(UnknownNameError, match="perhaps 'offset'"):
        history.after(2).limitation("ofset")


@pytest.mark.parametrize(
    ("order", "message"),
    [([0, 1, 1], "only once.*1"), ([0, 7], "no such pass.*7"), ([-1], "no such pass.*-1")],
)
def test_orders_that_make_no_sense_are_refused(order, message):
    with pytest.raises(InputError, match=message):
        precision_history(straight_line(np.arange(3.0)), order=order)


@pytest.mark.parametrize(
    ("derived", "message"),
    [
        ({"rate": [1.0, 0.0]}, "name of a parameter"),
        ({"ratio": [1.0, 0.0, 0.0]}, r"ratio.*shape.*\(2,\)"),
        ({"ratio": [np.nan, 0.0]}, "ratio.*finite"),
        ({"ratio": [0.0, 0.0]}, "ratio.*not zero"),
    ],
)
def test_gradients_that_make_no_sense_are_refused(derived, message):
    with pytest.raises(InputError, match=message):
        precision_history(straight_line(np.arange(3.0)), derived=derived)


def test_candidates_that_cannot_be_used_are_refused_by_name():
    good = {
        "parameters": ("a", "b"),
        "blocks": (np.ones((2, 2)), np.ones((1, 2))),
        "a_priori": np.eye(2),
        "station": np.array(["north", "south"]),
        "start": np.zeros(2),
        "hours": np.ones(2),
    }
    wrong = np.ones((1, 2))
    wrong[0, 1] = np.nan
    cases = [
        ({"blocks": ()}, "no candidate pass"),
        ({"blocks": (np.ones((2, 2)), wrong)}, "pass 1.*not a number"),
        ({"blocks": (np.ones((2, 3)), np.ones((1, 2)))}, r"pass 0.*\(any, 2\)"),
        ({"a_priori": np.eye(3)}, "a_priori"),
        ({"a_priori": np.eye(2) * np.nan}, "a_priori.*not a number"),
        ({"parameters": ("a", "a")}, "named twice"),
        ({"start": np.array([0.0, np.nan])}, "start, pass 1"),
        ({"hours": np.array([0.0, 1.0])}, "hours, pass 0.*positive"),
        ({"station": np.array(["north"])}, "station"),
        ({"exclusive": ((0, 2),)}, "does not exist"),
        ({"considered": ("c",)}, "considered_sigma"),
    ]
    CandidatePasses(**good)
    for change, message in cases:
        with pytest.raises(InputError, match=message):
            CandidatePasses(**{**good, **change})


def test_compressed_rows_say_the_same_with_fewer_of_them():
    # Smooth partial derivatives: harmonics of a daily rotation over one hour.
    hour = np.linspace(0.0, 1.0, 120)[:, None] / 24.0
    rows = np.hstack([f(2 * np.pi * k * hour) for k in (1, 2, 3, 4) for f in (np.cos, np.sin)])
    few = compress(rows * 10.0 ** np.arange(-4, 4))
    assert len(few) < 9
    names = [f"x{j}" for j in range(8)]
    prior = np.diag(10.0 ** np.arange(-4, 4)) * 1e-3
    full = precision_of(passes([rows * 10.0 ** np.arange(-4, 4)], names, prior), [0])
    less = precision_of(passes([few], names, prior), [0])
    np.testing.assert_allclose(less.sigma, full.sigma, rtol=1e-8)
    rank_two = compress(np.outer(np.arange(50.0), [1.0, 2.0, 3.0]) + 1.0)
    assert rank_two.shape == (2, 3)


def test_groups_of_overlapping_passes_are_the_largest_ones():
    # By brute force: of all sets with a common moment, those inside no other.
    rng = np.random.default_rng(2)
    start = rng.uniform(0, 10, 14)
    stop = start + rng.uniform(0.3, 3, 14)
    moments = {frozenset(np.flatnonzero((start <= t) & (stop > t)).tolist()) for t in start}
    largest = {m for m in moments if len(m) > 1 and not any(m < other for other in moments)}
    groups = overlapping(start, stop)
    assert {frozenset(group) for group in groups} == largest
    assert len(groups) == len(largest)
    assert overlapping(np.array([0.0, 1.0]), np.array([1.0, 2.0])) == ()
