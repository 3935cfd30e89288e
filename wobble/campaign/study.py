"""Trade studies: what precision becomes of a scenario when it is varied.

In: variations of a scenario, each a campaign with a name and a key, and an executor of
`concurrent.futures`. Out: for each variation the precision of the chosen quantities after all
passes of its schedule, or what is wrong with it.

Each variation that is finished goes into a journal at once. One that is found there is not
computed again, so a study that was interrupted goes on where it stood, and it does not matter
who computed what. A variation's key tells everything on which its result depends; what stands
in the journal under another key is another study's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from astropy.table import QTable
from astropy.units import Quantity
from tqdm import tqdm

from wobble.campaign.campaign import Campaign
from wobble.campaign.derived import DERIVED, InteriorModel, quantity_unit
from wobble.errors import InputError, UnknownNameError, WobbleError
from wobble.estimation.parameters import unit_scale

__all__ = [
    "Inline",
    "Journal",
    "Outcome",
    "Study",
    "StudyInterrupted",
    "Variation",
    "evaluate",
    "run_study",
    "study_table",
]

AHEAD = 64
"""So many variations wait or are computed at a time."""
DIGITS = 6
"""Significant digits that are kept: more than a prediction has, fewer than rounding differs in."""


class StudyInterrupted(WobbleError):
    """The study could not go on; what was finished is kept."""


@dataclass(frozen=True, eq=False)
class Variation:
    """A scenario with changes.

    Parameters
    ----------
    name : str
    changes : mapping of str to str
        What was changed, by dotted name, and to what.
    key : str
        Digest of everything on which the result depends.
    campaign : callable
        Makes the campaign; raises `InputError` if the changes make no sense.
    """

    name: str
    changes: Mapping[str, str]
    key: str
    campaign: Callable[[], Campaign]


@dataclass(frozen=True)
class Outcome:
    """What came out of a variation.

    Parameters
    ----------
    passes : int
    station_hours : float
    sigma : mapping of str to float
        Realistic standard deviation of each quantity in the unit in which people write it;
        infinite if undetermined.
    limited_by : mapping of str to str
        What limits each of these.
    problem : str
        What is wrong with the variation; empty if nothing is.
    """

    passes: int
    station_hours: float
    sigma: Mapping[str, float]
    limited_by: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""


@dataclass(frozen=True, eq=False)
class Study:
    """Variations of a scenario.

    Parameters
    ----------
    name : str
    axes : tuple of str
        Dotted names that vary over a grid; empty for a list of variations.
    variations : tuple of Variation
    quantities : tuple of str
        Parameters and derived quantities whose precision is asked for.
    interior : InteriorModel or None
        What is assumed for the derived ones.
    """

    name: str
    axes: tuple[str, ...]
    variations: tuple[Variation, ...]
    quantities: tuple[str, ...]
    interior: InteriorModel | None = None


class Journal(Protocol):
    """Where finished variations are kept."""

    def read(self, key: str) -> Outcome | None:
        """What is kept under a key."""
        ...

    def write(self, key: str, name: str, outcome: Outcome) -> None:
        """Keep it, at once and whole."""
        ...


class Inline(Executor):
    """Computes in the calling process, one after the other."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Compute at once."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def evaluate(
    campaign: Campaign, quantities: tuple[str, ...], interior: InteriorModel | None
) -> Outcome:
    """Plan a campaign and predict its precision; runs in a worker."""
    try:
        passes = campaign.schedule(campaign.view_periods())
        values = {p.name: p.value for p in campaign.parameters}
        derived = [interior.derived(n, values) for n in quantities if interior and n in DERIVED]
        history = campaign.precision(passes, derived)
        last_pass = history.after(len(passes))
        sigma, limited_by = {}, {}
        for name in quantities:
            if name not in history.quantities:
                raise UnknownNameError("estimated parameter", name, history.quantities)
            last = float(history.of(name)[-1]) / unit_scale(quantity_unit(name).user)
            sigma[name] = float(f"{last:.{DIGITS - 1}e}")
            limited_by[name] = str(last_pass.limitation(name))
        return Outcome(len(passes), round(passes.hours, 6), sigma, limited_by)
    except WobbleError as error:
        return _failed(error)


def run_study(
    study: Study, journal: Journal, executor: Executor, *, progress: bool = False
) -> list[Outcome]:
    """Outcomes of all variations, in their order.

    Parameters
    ----------
    study : Study
    journal : Journal
        What stands there is not computed again.
    executor : Executor
        Of `concurrent.futures`, or one that behaves like it.
    progress : bool
        Show a bar.

    Raises
    ------
    StudyInterrupted
        If a worker is lost. What was finished is in the journal.
    """
    outcomes = {v.key: found for v in study.variations if (found := journal.read(v.key))}
    todo = [v for v in study.variations if v.key not in outcomes]
    with tqdm(
        desc="variations",
        total=len(study.variations),
        initial=len(outcomes),
        disable=not progress,
        leave=False,
    ) as bar:
        for variation, outcome in _computed(study, todo, executor):
            journal.write(variation.key, variation.name, outcome)
            outcomes[variation.key] = outcome
            bar.update()
    return [outcomes[v.key] for v in study.variations]


def _computed(
    study: Study, todo: list[Variation], executor: Executor
) -> Iterator[tuple[Variation, Outcome]]:
    """Variations with their outcomes, in the order in which they are finished."""
    pending: dict[Future[Outcome], Variation] = {}
    try:
        for variation in todo:
            try:
                campaign = variation.campaign()
            except InputError as error:
                yield variation, _failed(error)
                continue
            future = executor.submit(evaluate, campaign, study.quantities, study.interior)
            pending[future] = variation
            yield from _finished(pending, None if len(pending) >= AHEAD else 0.0)
        while pending:
            yield from _finished(pending, None)
    except WobbleError:
        raise
    except Exception as error:  # whatever way an executor has to say that it lost a worker
        raise StudyInterrupted(
            f"a worker was lost ({type(error).__name__}: {error}); the variations that are "
            "finished are kept, and the same command goes on with the others"
        ) from error
    finally:
        for future in pending:
            future.cancel()


def _finished(
    pending: dict[Future[Outcome], Variation], timeout: float | None
) -> Iterator[tuple[Variation, Outcome]]:
    done, _ = wait(pending, timeout, FIRST_COMPLETED)
    for future in done:
        yield pending.pop(future), future.result()


def _failed(error: WobbleError) -> Outcome:
    return Outcome(0, 0.0, {}, problem=str(error))


def study_table(study: Study, outcomes: list[Outcome]) -> QTable:
    """A row for each variation: what was changed, effort, precision, problem."""
    varied = dict.fromkeys(name for v in study.variations for name in v.changes)
    table = QTable({"variation": [v.name for v in study.variations]})
    for name in varied:
        table[name] = [v.changes.get(name, "") for v in study.variations]
    table["passes"] = [o.passes for o in outcomes]
    table["station_hours"] = [o.station_hours for o in outcomes]
    for name in study.quantities:
        values = np.array([o.sigma.get(name, np.nan) for o in outcomes])
        table[f"sigma {name}"] = Quantity(values, quantity_unit(name).user or None)
        table[f"limit of {name}"] = [o.limited_by.get(name, "") for o in outcomes]
    table["problem"] = [o.problem for o in outcomes]
    return table
