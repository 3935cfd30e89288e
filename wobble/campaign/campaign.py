"""A campaign: everything that a scenario describes, and the steps of the job.

In: a scenario (`wobble.read_scenario`). Out: view periods, a schedule, simulated data, a
fit. Each step takes what the one before gave, and none keeps anything.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from astropy.time import Time
from tqdm import tqdm

from wobble.campaign.candidates import CandidatePasses, compress
from wobble.campaign.conditions import ViewLimits
from wobble.campaign.derived import DerivedQuantity
from wobble.campaign.diagnosis import Diagnosis, diagnosed, thinned, with_its_noise
from wobble.campaign.pass_ledger import PassLedger, Violation
from wobble.campaign.possible import exclusive_passes, possible_passes, shared_limits
from wobble.campaign.precision import PrecisionHistory, precision_history
from wobble.campaign.schedule import Passes, ScheduleRule, schedule_passes
from wobble.campaign.schedule_check import check_passes
from wobble.campaign.visibility import ViewPeriods, find_view_periods
from wobble.earth.orientation import OrientationTable
from wobble.earth.stations import Station
from wobble.ephemeris import open_ephemeris
from wobble.errors import ConvergenceError, InputError, WobbleError
from wobble.estimation.bootstrap import Bootstrap, bootstrap
from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import SquareRootInformation, eliminate_locals
from wobble.estimation.misfit import Verdict
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.sample_limits import SampleLimits
from wobble.estimation.solution import Solution
from wobble.estimation.tracking_model import (
    PassBiases,
    TrackingModel,
    grouping,
    pass_geometry,
)
from wobble.link.network import Media, Network
from wobble.measurements.bookkeeping import require_sound
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.planet.body import Body
from wobble.planet.lander import Lander
from wobble.version import __version__

if TYPE_CHECKING:  # it is only carried here, for the readers of files
    from wobble.campaign.learnt_noise import LearntNoise
    from wobble.files.described_table import TextTable
    from wobble.tdm.agreement import Agreement

__all__ = ["Campaign"]

SIMULATED = "simulated"


@dataclass(frozen=True, eq=False)
class Campaign:
    """What is tracked by whom, when, how well, and what is to be learned from it.

    Parameters
    ----------
    name : str
    source : Path
        The scenario file.
    ephemeris : str
        Name or path, see `wobble.ephemeris.open_ephemeris`.
    body : Body
    stations, landers : tuple
    media : Media
    frequency : float
        Of the uplink, Hz.
    parameters : ParameterSet
        All parameters of the model: estimated, considered, fixed, with a priori values.
    biases : PassBiases
    budget : Budget or None
        None: data are weighted by their own standard deviations.
    editing : EditingRules
    span : tuple of Time or None
        Begin and end, UTC, of what is planned; None where there are only data.
    rule : ScheduleRule or None
    view_limits : ViewLimits
        Least angles at the Sun, and pairs of stations for three-way tracking.
    seed : int
        Of everything random, unless another one is given.
    truth : dict
        What a rehearsal adds to the a priori values, SI.
    tables : mapping of Path to TextTable
        Descriptions of those data files that are tables of any form.
    data_files : tuple of Path
    agreement : Agreement or None
        What its files of tracking data leave to the parties, for their readers.
    target : dict
        Standard deviations wanted of parameters and derived quantities, SI.
    model_error : dict
        For a kind of measurement, what the model cannot describe, SI; see `TrackingModel`.
    orientation_table : OrientationTable or None
        Of the Earth; None for the packaged one.
    limits : SampleLimits
        What makes a sample suspicious, whatever its residual.
    warnings : tuple of str
        What the scenario's files leave open; every solution carries them.
    """

    name: str
    source: Path
    ephemeris: str
    body: Body = field(repr=False)
    stations: tuple[Station, ...]
    landers: tuple[Lander, ...]
    media: Media
    frequency: float
    parameters: ParameterSet = field(repr=False)
    biases: PassBiases
    budget: Budget | None
    editing: EditingRules
    span: tuple[Time, Time] | None
    rule: ScheduleRule | None
    view_limits: ViewLimits
    seed: int
    truth: Mapping[str, float]
    data_files: tuple[Path, ...] = ()
    tables: Mapping[Path, TextTable] = field(default_factory=dict)
    agreement: Agreement | None = None
    target: Mapping[str, float] = field(default_factory=dict)
    model_error: Mapping[str, float] = field(default_factory=dict)
    orientation_table: OrientationTable | None = field(default=None, repr=False)
    limits: SampleLimits = field(default_factory=SampleLimits)
    warnings: tuple[str, ...] = ()

    # ------------------------------------------------------------------- steps

    def view_periods(self, *, progress: bool = False) -> ViewPeriods:
        """When stations and landers see each other within the campaign's span."""
        start, stop = self._needed("span")
        return find_view_periods(
            self.plan_network, start, stop, limits=self.view_limits, progress=progress
        )

    def schedule(self, periods: ViewPeriods) -> Passes:
        """Passes chosen by the scenario's rule."""
        rule: ScheduleRule = self._needed("rule")
        return schedule_passes(periods, rule, self._ledger(rule))

    def check(self, passes: Passes) -> tuple[Violation, ...]:
        """Every constraint that a schedule does not keep: of view, stations, landers, passes.

        Raises
        ------
        InputError
            If a station, lander or antenna is unknown or a pass is named twice.
        """
        rule: ScheduleRule = self._needed("rule")
        return check_passes(passes, self.plan_network, self.view_limits, self._ledger(rule))

    def possible_passes(self, periods: ViewPeriods, step: float | None = None) -> Passes:
        """All passes that the view periods allow, of the length that the rule says.

        Parameters
        ----------
        periods : ViewPeriods
        step : float, optional
            Between the begins of passes in one period, s; a pass length if left out.
        """
        length = self._needed("rule").pass_length
        return possible_passes(periods, length, length if step is None else step)

    def simulate(self, passes: Passes, *, seed: int | None = None) -> Tracking:
        """Measurements of the passes as the scenario's truth and noise budget make them.

        The truth stands in ``meta["truth"]``: each parameter's true value in SI units, and
        the biases drawn for each pass.

        Parameters
        ----------
        passes : Passes
        seed : int, optional
            The scenario's if left out.

        Raises
        ------
        InputError
            If the scenario has no noise budget.
        """
        seed = self.seed if seed is None else seed
        rng = np.random.default_rng(seed)
        budget: Budget = self._needed("budget")
        tags = self._tags(passes)
        apriori = {p.name: p.value for p in self.parameters}
        truth = apriori | {name: apriori[name] + step for name, step in self.truth.items()}
        network = self.plan_network.with_values(truth)
        computed = network.compute(tags)
        value, sigma = computed.value.copy(), np.empty(len(tags))
        biases: dict[str, float] = {}
        members, geometries, white = [], [], []
        for pass_id, index in tags.passes():
            names, columns, spread = self.biases.columns(pass_id, tags.kind[index])
            drawn = np.where(np.isfinite(spread), spread, 0.0) * rng.standard_normal(len(spread))
            biases |= dict(zip(names, drawn.tolist(), strict=True))
            value[index] += columns @ drawn
            members.append(index)
            geometries.append(pass_geometry(tags, computed, index))
            white.append(rng.standard_normal(len(index)))
        for k, factor in budget.factors(geometries):
            sigma[members[k]] = factor.sigma
            value[members[k]] += factor.colour(white[k])
        meta = {
            "campaign": self.name,
            SIMULATED: True,
            "seed": seed,
            "truth": {name: float(value) for name, value in truth.items()},
            "pass_biases": biases,
            **self.provenance(network),
        }
        return replace(tags, value=value, sigma=sigma, meta=meta)

    def fit(self, tracking: Tracking, *, earlier: SquareRootInformation | None = None) -> Solution:
        """Estimate the scenario's parameters from measurements.

        Simulated measurements may lie in the future; real ones outside the Earth-orientation
        table are an error.

        Parameters
        ----------
        tracking : Tracking
        earlier : SquareRootInformation, optional
            The ``information`` of a solution from earlier measurements, to go on from.
        """
        model = self._model(tracking)
        try:
            solution = fit(
                model,
                self.parameters,
                self.editing,
                earlier=earlier,
                group=grouping(self.editing.group),
                provenance=self.provenance(model.network),
            )
        except (InputError, ConvergenceError) as error:
            self._explain(error, tracking)
            raise
        doubtful = solution.misfit.verdict > Verdict.FITS
        return replace(
            solution,
            warnings=(*solution.warnings, *self.warnings, *model.warnings),
            explanations=tuple(map(str, self.diagnose(tracking))) if doubtful else (),
        )

    def diagnose(self, tracking: Tracking) -> tuple[Diagnosis, ...]:
        """The usual mistakes that would explain why no model describes the measurements.

        Of data and scenario: time scales and tags, signs, units, conversions from hertz, places
        and names. `fit` asks for it where its solution does not describe the data. Nothing, if
        nothing needs explaining or no single mistake explains it.
        """
        if not len(tracking):
            return ()
        few, values = thinned(tracking), self.parameters.estimated.values
        model = self._model(few)
        try:
            noisy = with_its_noise(few, model, values)
        except InputError:
            # The budget knows no noise below the horizon, where mistakes may lead.
            noisy = with_its_noise(few, replace(model, budget=None), values)
        return diagnosed(model.network, noisy, self.parameters.estimated)

    def learn_noise(self, tracking: Tracking) -> LearntNoise:
        """The levels of the budget's contributions that measurements ask for.

        See `wobble.campaign.learnt_noise`; the campaign with the budget found is
        ``dataclasses.replace(campaign, budget=found.budget)``.
        """
        from wobble.campaign.learnt_noise import learn_noise

        return learn_noise(self, tracking)

    def _explain(self, error: WobbleError, tracking: Tracking) -> None:
        """Raise the error of a fit with what would explain it, if anything does."""
        explanations = " or ".join(map(str, self.diagnose(tracking)))
        if not explanations:
            return
        why = f"what would explain it is a usual mistake: {explanations}"
        if isinstance(error, InputError):
            raise InputError(
                f"{error.problem} ({why})",
                source=error.source,
                field=error.field,
                found=error.found,
                expected=error.expected,
            ) from error
        raise ConvergenceError(f"{error}; {why}") from error

    def bootstrap(
        self,
        tracking: Tracking,
        solution: Solution,
        *,
        replicates: int = 200,
        progress: bool = False,
    ) -> Bootstrap:
        """The solution's uncertainty from passes drawn again, as a check that assumes less.

        Parameters
        ----------
        tracking : Tracking
            Those of the solution.
        solution : Solution
        replicates : int
        progress : bool
            Whether a bar on standard error shows how far it is.
        """
        rng = np.random.default_rng(self.seed)
        return bootstrap(
            self._model(tracking), solution, rng, replicates=replicates, progress=progress
        )

    def starting(self, epoch: Time) -> Campaign:
        """The same campaign with nothing before an epoch, to plan what is left of it.

        Raises
        ------
        InputError
            If nothing is left.
        """
        start, stop = self._needed("span")
        if epoch >= stop:
            raise InputError(
                "nothing is left of the campaign",
                source=self.source,
                field="campaign.stop",
                found=stop.isot,
                expected=f"an epoch after {epoch.isot}",
            )
        return replace(self, span=(max(start, epoch), stop))

    def without(self, patterns: str | Iterable[str]) -> Campaign:
        """The same campaign with some of the estimated parameters held at their a priori values."""
        names = self.parameters.estimated.select(patterns)
        return replace(self, parameters=self.parameters.with_status(names, "fixed"))

    def candidates(
        self,
        passes: Passes,
        *,
        earlier: SquareRootInformation | None = None,
        progress: bool = False,
    ) -> CandidatePasses:
        """What each pass would say of the estimated parameters, its own biases eliminated.

        The noise is that of the budget, with its correlations; nothing is simulated. Passes
        exclude one another, and share the landers' sols, as the scenario's limits say.

        Parameters
        ----------
        passes : Passes
        earlier : SquareRootInformation, optional
            The ``information`` of a solution from earlier measurements, on top of which the
            passes come.
        progress : bool
            Show a bar.
        """
        rule: ScheduleRule = self._needed("rule")
        ledger = self._ledger(rule)
        tags = self._tags(passes)
        model = TrackingModel(
            self.plan_network, tags, self.parameters, self.biases, self._needed("budget")
        )
        estimated, considered = self.parameters.estimated, self.parameters.considered
        blocks = []
        every = tqdm(
            model.equations(estimated.values),
            desc="information",
            total=len(passes),
            disable=not progress,
            leave=False,
        )
        for equations in every:
            everything = np.ones(len(equations), bool)
            rows = equations.rows
            whitened = (
                rows / equations.sigma[:, None]
                if equations.whiten is None
                else equations.whiten(rows, everything)
            )
            _, rest = eliminate_locals(
                whitened,
                equations.name,
                equations.local_names,
                equations.local_sigma,
                len(estimated),
            )
            blocks.append(compress(rest[:, :-1]))
        return CandidatePasses(
            parameters=estimated.names,
            blocks=tuple(blocks),
            a_priori=estimated.a_priori_rows()[0],
            station=passes.station,
            start=np.asarray((passes.start - passes.start[0]).to_value("s"), float),
            hours=np.asarray((passes.stop - passes.start).to_value("h"), float),
            considered=considered.names,
            considered_sigma=considered.sigmas,
            exclusive=exclusive_passes(passes, ledger),
            shared=shared_limits(passes, ledger),
            earlier=None
            if earlier is None
            else earlier.onto(estimated.names, considered.names).factor[:, :-1],
        )

    def precision(
        self,
        passes: Passes,
        derived: Sequence[DerivedQuantity] = (),
        *,
        earlier: SquareRootInformation | None = None,
        progress: bool = False,
    ) -> PrecisionHistory:
        """Standard deviation of every estimated parameter after each of the passes.

        Parameters
        ----------
        passes : Passes
        derived : sequence of DerivedQuantity
            Further quantities.
        earlier : SquareRootInformation, optional
            As for `candidates`: the passes come on top of what it says.
        progress : bool
            Show a bar.
        """
        candidates = self.candidates(passes, earlier=earlier, progress=progress)
        gradients = {d.name: d.gradient(candidates.parameters) for d in derived}
        return precision_history(candidates, derived=gradients, progress=progress)

    def network(self, tracking: Tracking) -> Network:
        """The network over the span of measurements, with the a priori values."""
        return self._network(
            tracking.epoch.min(), tracking.epoch.max(), extend=bool(tracking.meta.get(SIMULATED))
        )

    # ----------------------------------------------------------------- details

    def _model(self, tracking: Tracking) -> TrackingModel:
        require_sound(tracking)
        network = self.network(tracking)
        _require_same_orientation(tracking, network)
        return TrackingModel(
            network,
            tracking,
            self.parameters,
            self.biases,
            self.budget,
            self.model_error,
            self.limits,
            self.editing.range_ambiguity,
        )

    @cached_property
    def plan_network(self) -> Network:
        """The network over the campaign's span, which may lie in the future."""
        start, stop = self._needed("span")
        return self._network(start, stop, extend=True)

    def _ledger(self, rule: ScheduleRule) -> PassLedger:
        start, stop = self._needed("span")
        return PassLedger.of(self.plan_network, start, stop, rest=rule.rest, handover=rule.handover)

    def _tags(self, passes: Passes) -> Tracking:
        """Time tags of passes, at the frequency of the uplink or of each lander's oscillator."""
        rule: ScheduleRule = self._needed("rule")
        if rule.link == "two_way":
            return passes.tags(rule, self.frequency)
        nominal = {}
        for lander in self.landers:
            if lander.oscillator is None:
                raise InputError(
                    "one-way passes of a lander without an oscillator",
                    source=self.source,
                    field=f"lander.{lander.name}",
                    expected=f"[lander.{lander.name}.oscillator]",
                )
            nominal[lander.name] = lander.oscillator.frequency
        return passes.tags(rule, [nominal[name] for name in passes.lander.tolist()])

    def _network(self, start: Time, stop: Time, *, extend: bool) -> Network:
        return Network.over(
            start,
            stop,
            ephemeris=open_ephemeris(self.ephemeris),
            body=self.body,
            stations=self.stations,
            landers=self.landers,
            media=self.media,
            orientation_table=self.orientation_table,
            extend=extend,
        )

    def provenance(self, network: Network) -> dict[str, object]:
        """What made a result."""
        orientation = network.earth.orientation
        return {
            "wobble": __version__,
            "scenario": self.source.name,
            "ephemeris": network.ephemeris.name,
            # A rotation with parameters has its own axes, a tabulated one those of its table.
            "body_frame": "" if self.body.orientation.values else self.body.source,
            "earth_orientation": repr(orientation.table).strip("<>"),
            "earth_orientation_note": orientation.note,
            "earth_orientation_identity": orientation.table.identity,
            "weights": repr(self.budget).strip("<>") if self.budget else self._data_weights(),
            "date": Time.now().isot[:19],
        }

    def _data_weights(self) -> str:
        added = ", ".join(
            f"model error of {value:g} {'m' if kind == 'range' else 'm/s'} ({kind}) added"
            for kind, value in self.model_error.items()
        )
        return "white, as given with the data" + (f", {added}" if added else "")

    def _needed(self, what: str):  # type: ignore[no-untyped-def]
        value = getattr(self, what)
        if value is None:
            table = {"span": "campaign", "rule": "schedule", "budget": "noise"}[what]
            keys = "start and stop" if what == "span" else "a table"
            raise InputError(
                f"the scenario has no {what}, which this step needs",
                source=self.source,
                field=table,
                expected=f"{keys} in [{table}]",
            )
        return value

    def __repr__(self) -> str:
        span = f", {self.span[0].isot[:10]} to {self.span[1].isot[:10]}" if self.span else ""
        estimated = self.parameters.estimated
        return (
            f"<Campaign {self.name!r}: {self.body.name}{span}; "
            f"stations {', '.join(s.name for s in self.stations)}; "
            f"landers {', '.join(lander.name for lander in self.landers)}; "
            f"{len(estimated)} parameters estimated>"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>" + self.parameters.estimated._repr_html_()


def _require_same_orientation(tracking: Tracking, network: Network) -> None:
    """See that simulated data are not fitted with another Earth than they were made on.

    Tables of other days differ where one predicts, by tens of metres after some years.
    """
    table = network.earth.orientation.table
    for meta in tracking.meta.get("parts", [tracking.meta]):
        identity = meta.get("earth_orientation_identity", table.identity)
        if meta.get(SIMULATED) and identity != table.identity:
            raise InputError(
                "the measurements were simulated with another table of Earth orientation",
                source=meta.get("source"),
                field="campaign.earth_orientation",
                found=f"{table!r}",
                expected=str(meta.get("earth_orientation")),
            )
