"""All passes that view periods allow, and which exclude one another."""

import itertools
from dataclasses import fields

import numpy as np
import pytest
from astropy.time import Time

from wobble.campaign.link_geometry import Geometry
from wobble.campaign.pass_ledger import PassLedger
from wobble.campaign.possible import exclusive_passes, only, possible_passes, shared_limits
from wobble.campaign.sols import SolCount
from wobble.campaign.visibility import ViewPeriods
from wobble.errors import InputError
from wobble.planet.lander_limits import LanderLimits


def view_periods(*rows):
    start, stop, station = zip(*rows, strict=True)
    n = len(rows)
    names = [np.array(station), np.array(station), np.full(n, "heron"), np.full(n, "")]
    edges = [np.full(n, "span")] * 2
    geometry = Geometry(**{f.name: np.zeros((n, 3)) for f in fields(Geometry)})
    return ViewPeriods(Time(list(start)), Time(list(stop)), *names, *edges, geometry)


NO_LIMITS = LanderLimits()


def ledger(rest=0.0, limits=NO_LIMITS, setup=0.0):
    sols = SolCount(np.array([-88775.0, 2 * 88775.0]), np.array([-1.0, 2.0]))
    setups = {name: setup for name in ("alder", "broom", "cliff")}
    begin = Time("2031-05-01")
    return PassLedger(begin, 86400.0, rest, (0.0, 0.0), setups, {"heron": limits}, {"heron": sols})


PERIODS = view_periods(
    ("2031-05-01T00:00:00.4", "2031-05-01T02:00:30", "alder"),
    ("2031-05-01T00:10:00", "2031-05-01T00:40:00", "broom"),
    ("2031-05-01T01:00:00", "2031-05-01T02:30:00", "cliff"),
)


def test_each_period_is_filled_with_whole_passes_at_the_step():
    found = possible_passes(PERIODS, 2700.0, 1800.0)
    # By hand: 45 min fit into 2 h at 0, 30, 60 min; into 30 min never; into 1.5 h at 0 and 30.
    starts = dict(zip(found.pass_id, found.start.isot, strict=True))
    assert sorted(found.station) == ["alder"] * 3 + ["cliff"] * 2
    assert list(starts) == ["P001", "P002", "P003", "P004", "P005"]
    assert starts["P001"] == "2031-05-01T00:00:01.000"
    np.testing.assert_allclose((found.stop - found.start).to_value("s"), 2700.0)
    for start, stop, station in zip(found.start, found.stop, found.station, strict=True):
        (inside,) = np.flatnonzero(PERIODS.station == station)
        assert PERIODS.start[inside] <= start
        assert stop <= PERIODS.stop[inside]


@pytest.mark.parametrize("rest", [0.0, 2 * 3600.0])
@pytest.mark.parametrize("own_rest", [0.0, 900.0])
def test_exclusive_groups_are_the_pairs_that_break_a_rule(rest, own_rest):
    passes = possible_passes(PERIODS, 2700.0, 600.0)
    groups = exclusive_passes(passes, ledger(rest, LanderLimits(rest=own_rest)))
    together = {pair for g in groups for pair in itertools.combinations(g, 2)}
    start = (passes.start - passes.start[0]).to_value("s")
    # Every pair by itself: one lander hears one station, and rests between two begins.
    for i, j in itertools.combinations(range(len(passes)), 2):
        broken = abs(start[i] - start[j]) < max(2700.0 + own_rest, rest) - 0.5
        assert ((i, j) in together) == broken


def test_a_station_needs_its_setup_between_two_passes():
    passes = possible_passes(PERIODS, 1800.0, 1800.0)
    alder = np.flatnonzero(passes.station == "alder").tolist()
    free = exclusive_passes(passes, ledger())
    assert not any(set(alder[:2]) <= set(group) for group in free)
    held = exclusive_passes(passes, ledger(setup=600.0))
    assert any(set(alder[:2]) <= set(group) for group in held)


def test_passes_share_the_seconds_of_a_sol():
    passes = possible_passes(PERIODS, 2700.0, 1800.0)
    assert shared_limits(passes, ledger()) == ()
    # 60 W for at most 50 W h: fifty minutes in a sol, by hand.
    limits = LanderLimits(power=60.0, energy_per_sol=50.0 * 3600.0)
    (sol,) = shared_limits(passes, ledger(limits=limits))
    assert sol.passes.tolist() == list(range(len(passes)))
    np.testing.assert_allclose(sol.taken, 2700.0)
    assert sol.bound == pytest.approx(3000.0)


def test_some_passes_are_numbered_anew():
    passes = possible_passes(PERIODS, 2700.0, 1800.0)
    chosen = only(passes, np.array([4, 1]))
    assert chosen.pass_id.tolist() == ["P001", "P002"]
    assert (chosen.start == passes.start[[1, 4]]).all()


def test_periods_too_short_for_a_pass_and_a_step_of_nothing_are_refused():
    with pytest.raises(InputError, match=r"no view period is long enough.*120\.5 min"):
        possible_passes(PERIODS, 4 * 3600.0, 600.0)
    with pytest.raises(InputError, match="step"):
        possible_passes(PERIODS, 600.0, 0.0)
