"""The result of a fit: estimates, what they are worth, and what happened to each sample.

In: the last linearisation and its edited solution. Out: a `Solution`, which shows itself
as a table in a notebook and as text, and is written to files by `solution_files`.

Three uncertainties are kept apart. *Formal*: what the standard deviations of the data
give, if they are right. *Realistic*: the standard deviations widened by the variance
components that the residuals ask for, and with the uncertainty of the considered
parameters carried through, ``P + S P_c S^T`` (Tapley, Schutz & Born 2004, Statistical
Orbit Determination, sect. 6.3); never below the formal one. *A priori*: what was known
before the data; a parameter whose realistic uncertainty is not below 0.95 of it was not
improved, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from astropy import units
from astropy.table import Table
from numpy.typing import NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.editing import EditedSolution, EditingRules, reasons
from wobble.estimation.least_squares import (
    LinearEstimate,
    LocalFactor,
    SquareRootInformation,
)
from wobble.estimation.linearisation import Linearisation, NoiseWeights
from wobble.estimation.misfit import GroupMisfit, Misfit
from wobble.estimation.observability import (
    LIMITED,
    NOT_IMPROVED,
    UnseenCombination,
    WeakCombination,
    limiting_knowledge,
    unseen_combinations,
    weak_combinations,
)
from wobble.estimation.parameters import ParameterSet, unit_scale
from wobble.estimation.passes import Jump
from wobble.estimation.residual_groups import ResidualGroup, residual_groups
from wobble.estimation.samples import Samples
from wobble.estimation.slips import whole_steps
from wobble.estimation.standing_out import StandingOut, groups_standing_out
from wobble.estimation.variance import VarianceComponent
from wobble.measurements.kinds import kind_named
from wobble.planet.parameter_units import unit_of
from wobble.shown import shortly, with_the_digits_of

__all__ = ["Estimate", "Iteration", "PassEstimate", "Solution", "solution_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """One estimated parameter, in a unit for people.

    Attributes
    ----------
    name, unit : str
    value : float
        The estimate, in ``unit``.
    sigma : float
        Its realistic standard deviation.
    sigma_formal : float
        Its formal standard deviation.
    a_priori_sigma : float
        Its standard deviation before the data; infinite if nothing was known.
    a_priori_share : float
        Share of its variance that comes from the errors of what was known before.
    limited_by : str
        The piece of that knowledge whose error moves it most.
    usable : bool
        False if the fit does not describe its data.
    """

    name: str
    unit: str
    value: float
    sigma: float
    sigma_formal: float
    a_priori_sigma: float
    a_priori_share: float
    limited_by: str = ""
    usable: bool = True

    @property
    def improved(self) -> bool:
        """Whether the data say more than was known before."""
        return bool(self.sigma < NOT_IMPROVED * self.a_priori_sigma)

    @property
    def remark(self) -> str:
        """What must not be overlooked beside the standard deviation; empty if nothing."""
        return "; ".join(text for text in (self._owed, self.outside) if text)

    @property
    def _owed(self) -> str:
        """What the estimate owes to earlier knowledge, in words."""
        if not self.usable:
            return "not to be used"
        if not self.improved:
            return "not improved by the data"
        if not self.limited:
            return ""
        by = "its own" if self.limited_by == self.name else self.limited_by
        return f"limited a priori ({by})"

    @property
    def limited(self) -> bool:
        """Whether more of its variance is that of what was known before than of the noise."""
        return bool(self.a_priori_share > LIMITED)

    @property
    def outside(self) -> str:
        """By how much the value lies outside what physics allows, in words; empty if not."""
        try:
            known, scale = unit_of(self.name), unit_scale(self.unit)
        except InputError:
            return ""  # a parameter of another model
        least, most = known.least / scale, known.most / scale
        if least <= self.value <= most:
            return ""
        sign, bound = (">", least) if self.value < least else ("<", most)
        allowed = f"{self.name} {sign} {bound:g} {self.unit}".rstrip()
        off = shortly(abs(self.value - bound) / self.sigma)
        return f"outside what physics allows ({allowed}) by {off} sigma"

    def to(self, unit: str) -> Estimate:
        """The same estimate in another unit.

        Raises
        ------
        InputError
            If the unit is unknown or of another dimension.
        """
        ratio = _conversion(self.name, self.unit, unit)
        names = ("value", "sigma", "sigma_formal", "a_priori_sigma")
        return replace(self, unit=unit, **{name: getattr(self, name) * ratio for name in names})

    def __repr__(self) -> str:
        return f"<Estimate {self}>"

    def __str__(self) -> str:
        text = f"{self.name} = {self.measured} {self.unit}".rstrip()
        return f"{text} ({self.remark})" if self.remark else text

    @property
    def measured(self) -> str:
        """Value and standard deviation to the second digit of the latter."""
        return f"{with_the_digits_of(self.sigma, self.value)} +- {shortly(self.sigma)}"


def _conversion(name: str, old: str, new: str) -> float:
    unit_scale(new)
    try:
        return float(units.Unit(old).to(units.Unit(new)))
    except units.UnitConversionError as error:
        raise InputError(
            "the unit has another dimension", field=name, found=new, expected=f"a unit like {old}"
        ) from error


@dataclass(frozen=True)
class PassEstimate:
    """A parameter of one pass, SI; its standard deviation is the one of the weights.

    A shift that is a whole number of the ranging code's ambiguities says so in ``note``.
    """

    pass_name: str
    name: str
    value: float
    sigma: float
    note: str = ""


@dataclass(frozen=True)
class Iteration:
    """What one iteration did.

    Attributes
    ----------
    number : int
    largest_step : float
        In standard deviations.
    moved : str
        The parameter that made it.
    used : int
        Accepted samples.
    chi_square : float
        Weighted sum of squares after the step.
    halvings : int
        How often the step that led here had to be halved.
    """

    number: int
    largest_step: float
    moved: str
    used: int
    chi_square: float
    halvings: int


@dataclass(frozen=True, eq=False)
class Solution:
    """Estimates with their uncertainties, and how they came about.

    Attributes
    ----------
    parameters : ParameterSet
        All parameters with their a priori values: estimated, considered and fixed.
    values : ndarray, shape (p,)
        Estimates, SI, in the order of ``parameters.estimated``.
    covariance_formal, covariance_realistic : ndarray, shape (p, p)
        See the module's text.
    sensitivity : ndarray, shape (p, k)
        Change of each estimate for a change of each considered parameter by one, SI.
    samples : Samples
    components : dict
        Variance component of each kind of data (or group of samples).
    pass_estimates : tuple of PassEstimate
        Biases, and jumps that the editing found, of each pass.
    jumps : tuple of Jump
        Where samples are shifted together by what is among ``pass_estimates``.
    iterations : tuple of Iteration
    misfit : Misfit
        How well the data are described by their stated standard deviations.
    weak : tuple of WeakCombination
        What data and a priori knowledge together hardly separate.
    unseen : tuple of UnseenCombination
        What only the a priori knowledge determines.
    a_priori_share : ndarray, shape (p,)
        Share of each formal variance that comes from the errors of what was known before.
    limited_by : tuple of str
        For each parameter the piece of that knowledge whose error moves it most.
    warnings : tuple of str
    information : SquareRootInformation
        Of the data alone, about ``values``: what later passes are added to.
    provenance : mapping
    earlier : SquareRootInformation or None
        Of measurements that are not among the samples, if the fit went on from it.
    sigma_bootstrap : ndarray, shape (p,), or None
        Standard deviations from passes drawn again, SI, if that was done.
    explanations : tuple of str
        Usual mistakes each of which would explain why the data are not described.
    """

    parameters: ParameterSet
    values: Array
    covariance_formal: Array
    covariance_realistic: Array
    sensitivity: Array
    samples: Samples
    components: dict[str, VarianceComponent]
    pass_estimates: tuple[PassEstimate, ...]
    jumps: tuple[Jump, ...]
    iterations: tuple[Iteration, ...]
    misfit: Misfit
    weak: tuple[WeakCombination, ...]
    unseen: tuple[UnseenCombination, ...]
    a_priori_share: Array
    limited_by: tuple[str, ...]
    warnings: tuple[str, ...]
    information: SquareRootInformation
    provenance: Mapping[str, object]
    earlier: SquareRootInformation | None = None
    sigma_bootstrap: Array | None = None
    explanations: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the estimated parameters."""
        return self.parameters.estimated.names

    @property
    def sigma_formal(self) -> Array:
        """Formal standard deviations, SI, shape (p,)."""
        return np.sqrt(np.diag(self.covariance_formal))

    @property
    def sigma_realistic(self) -> Array:
        """Realistic standard deviations, SI, shape (p,)."""
        return np.sqrt(np.diag(self.covariance_realistic))

    @cached_property
    def a_priori_sigma(self) -> Array:
        """Standard deviations before the data, SI, shape (p,)."""
        return a_priori_sigma(self.parameters.estimated)

    @property
    def correlation(self) -> Array:
        """Correlations of the estimates (realistic), shape (p, p)."""
        sigma = self.sigma_realistic
        return self.covariance_realistic / np.outer(sigma, sigma)

    @property
    def consider_effects(self) -> Array:
        """Change of each estimate for one sigma of each considered parameter, SI, (p, k)."""
        return self.sensitivity * self.parameters.considered.sigmas

    def consider_table(self) -> Table:
        """What one sigma of each considered parameter does to each estimate, in its own unit."""
        estimated, considered = self.parameters.estimated, self.parameters.considered
        table = Table({"parameter": estimated.names, "unit": [p.unit for p in estimated]})
        for name, effect in zip(considered.names, self.consider_effects.T, strict=True):
            table[name] = effect / estimated.scales
        table["sigma_formal"] = self.sigma_formal / estimated.scales
        table["sigma_realistic"] = self.sigma_realistic / estimated.scales
        return table

    @property
    def n_used(self) -> int:
        """Number of accepted samples."""
        return int(self.samples.accepted.sum())

    @property
    def n_rejected(self) -> int:
        """Number of rejected samples."""
        return len(self.samples) - self.n_used

    @property
    def rms(self) -> dict[str, float | None]:
        """Root mean square of the accepted residuals by kind; the key names the unit."""
        found: dict[str, float | None] = {}
        for kind in np.unique(self.samples.kind).tolist():
            known = kind_named(kind)
            used = self.samples.residual[self.samples.accepted & (self.samples.kind == kind)]
            size = float(np.sqrt((used**2).mean()) / known.scale) if used.size else None
            found[known.rms_key] = size
        return found

    @cached_property
    def residual_groups(self) -> tuple[ResidualGroup, ...]:
        """Residuals by station, lander, antenna, frequency and season, of each kind."""
        shifted = {(jump.pass_name, jump.kind) for jump in self.jumps}
        return tuple(residual_groups(self.samples, shifted))

    @cached_property
    def standing_out(self) -> tuple[StandingOut, ...]:
        """Groups of passes whose residuals are unlike those of the others."""
        shifts = {e.name: e.value for e in self.pass_estimates if np.isfinite(e.sigma)}
        return groups_standing_out(self.samples, self.jumps, shifts)

    @property
    def not_improved(self) -> tuple[str, ...]:
        """Parameters on which only the a priori value speaks."""
        return tuple(name for name in self.names if not self[name].improved)

    @property
    def a_priori_limited(self) -> tuple[str, ...]:
        """Others, whose uncertainty is for the most part that of what was known before."""
        return tuple(name for name in self.names if self[name].improved and self[name].limited)

    def pass_estimate(self, name: str) -> PassEstimate:
        """The estimate of a parameter of a pass, by its name.

        Raises
        ------
        UnknownNameError
            If no pass has a parameter of that name.
        """
        by_name = {estimate.name: estimate for estimate in self.pass_estimates}
        if name not in by_name:
            raise UnknownNameError("parameter of a pass", name, by_name)
        return by_name[name]

    def __getitem__(self, name: str) -> Estimate:
        estimated = self.parameters.estimated
        if name not in estimated:
            raise UnknownNameError("estimated parameter", name, estimated.names)
        i, scale = estimated.place(name), estimated[name].scale
        return Estimate(
            name,
            estimated[name].unit,
            float(self.values[i] / scale),
            float(self.sigma_realistic[i] / scale),
            float(self.sigma_formal[i] / scale),
            float(self.a_priori_sigma[i] / scale),
            float(self.a_priori_share[i]),
            self.limited_by[i],
            self.misfit.describes_data,
        )

    def __contains__(self, name: object) -> bool:
        return name in self.parameters.estimated

    def as_json(self) -> dict[str, Any]:
        """Everything that a program may want to know, as plain JSON types."""
        from wobble.estimation.solution_json import solution_as_json

        return solution_as_json(self)

    def files(self) -> dict[str, str]:
        """The solution as the texts of its files, by file name."""
        from wobble.files.solution_files import solution_as_texts

        return solution_as_texts(self)

    def __str__(self) -> str:
        from wobble.estimation.solution_text import solution_as_text

        return solution_as_text(self)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        from wobble.estimation.solution_text import solution_as_html

        return solution_as_html(self)


def a_priori_sigma(parameters: ParameterSet) -> Array:
    """Standard deviations by the a priori knowledge alone, shape (p,); infinite if none."""
    rows, values = parameters.a_priori_rows()
    information = SquareRootInformation.nothing(parameters.names)
    information.absorb(np.column_stack([rows, values]))
    return information.sigma()


def solution_of(
    linearisation: Linearisation,
    parameters: ParameterSet,
    rules: EditingRules,
    edited: EditedSolution,
    before: Array,
    iterations: list[Iteration],
    warnings: list[str],
    provenance: Mapping[str, object],
) -> Solution:
    """Put the last iteration of a fit into a `Solution`."""
    linearisation = linearisation.with_jumps(edited.judgement.jumps)
    estimated = parameters.estimated
    accepted, estimate = edited.judgement.accepted, edited.estimate
    stated = NoiseWeights(accepted, np.ones(len(linearisation)))
    formal, factors = _solution_by(linearisation, stated)
    wider, _ = _solution_by(linearisation, NoiseWeights(accepted, edited.wider))
    realistic = _never_below(
        wider.covariance + _considered_covariance(estimate, parameters.considered),
        formal.covariance,
    )
    unseen, share = unseen_combinations(edited.data, edited.information, estimated)
    values = linearisation.values + estimate.step
    jumps = _determined(edited)
    return Solution(
        parameters=parameters,
        values=values,
        covariance_formal=formal.covariance,
        covariance_realistic=realistic,
        sensitivity=estimate.sensitivity,
        samples=_samples(linearisation, rules, edited, before),
        components=dict(edited.judgement.components),
        pass_estimates=_pass_estimates(linearisation, edited),
        jumps=jumps,
        iterations=tuple(iterations),
        misfit=_misfit(linearisation, stated, formal, factors, jumps),
        weak=tuple(weak_combinations(edited.information, estimated)),
        unseen=tuple(unseen),
        a_priori_share=share,
        limited_by=limiting_knowledge(formal.root, estimated),
        warnings=tuple(warnings),
        information=edited.data.about(values),
        provenance=dict(provenance),
    )


def _solution_by(
    linearisation: Linearisation, weights: NoiseWeights
) -> tuple[LinearEstimate, list[LocalFactor]]:
    information, factors = linearisation.information(weights)
    return linearisation.solve(information), factors


def _misfit(
    linearisation: Linearisation,
    stated: NoiseWeights,
    formal: LinearEstimate,
    factors: list[LocalFactor],
    jumps: tuple[Jump, ...],
) -> Misfit:
    """Of the data, and of what was known before, at the solution by the stated noise."""
    residual, leverage = linearisation.whitened_residuals(stated, formal, factors)
    kind, used = linearisation.kind, linearisation.kind[stated.accepted]
    groups = [
        GroupMisfit(
            one,
            int((used == one).sum()),
            int((kind[~stated.accepted] == one).sum()),
            float((residual[used == one] ** 2).sum()),
            float((1.0 - leverage[used == one]).sum()),
        )
        for one in np.unique(kind).tolist()
    ]
    parameters = linearisation.parameters
    rows, known = parameters.a_priori_rows()
    off = known - rows @ (linearisation.values + formal.step)
    # What the data add nothing to cannot be contradicted by them.
    free = 1.0 - ((rows @ formal.root) ** 2).sum(axis=1)
    strain = np.where(free > 1e-6, np.abs(off) / np.sqrt(np.maximum(free, 1e-6)), 0.0)
    worst = int(np.argmax(strain)) if strain.size else -1
    return Misfit(
        tuple(groups),
        len(linearisation.headers),
        len({jump.pass_name for jump in jumps}),
        float(strain[worst]) if strain.size else 0.0,
        parameters.a_priori_subjects()[worst] if strain.size else "",
    )


def _considered_covariance(estimate: LinearEstimate, considered: ParameterSet) -> Array:
    if not len(considered):
        return np.zeros((len(estimate.step),) * 2)
    spread = np.linalg.inv(considered.a_priori_information())
    return estimate.sensitivity @ spread @ estimate.sensitivity.T


def _never_below(covariance: Array, least: Array) -> Array:
    """Widen so that no standard deviation is below the least; correlations stay."""
    ratio = np.sqrt(np.maximum(np.diag(least) / np.diag(covariance), 1.0))
    return covariance * np.outer(ratio, ratio)


def _samples(
    linearisation: Linearisation, rules: EditingRules, edited: EditedSolution, before: Array
) -> Samples:
    headers, of = linearisation.headers, linearisation.pass_index
    names = np.array([header.name for header in headers])
    labels = dict.fromkeys(label for header in headers for label in header.labels)
    return Samples(
        names[of],
        linearisation.kind,
        linearisation.epoch,
        edited.residual,
        linearisation.sigma,
        edited.factor,
        edited.predicted(linearisation.sigma),
        edited.judgement.accepted,
        np.array(reasons(linearisation, rules, edited)),
        before,
        {label: np.array([h.labels.get(label, "") for h in headers])[of] for label in labels},
    )


def _determined(edited: EditedSolution) -> tuple[Jump, ...]:
    """Jumps that are not the same as a bias which the pass has anyway."""
    lost = {name for factor in edited.factors for name in factor.free}
    return tuple(jump for jump in edited.judgement.jumps if jump.parameter not in lost)


def _pass_estimates(
    linearisation: Linearisation, edited: EditedSolution
) -> tuple[PassEstimate, ...]:
    jumps = {jump.parameter: jump for jump in edited.judgement.jumps}
    found = []
    for header, factor in zip(linearisation.headers, edited.factors, strict=True):
        values, covariance = factor.estimate(edited.estimate.step, edited.estimate.root)
        sigmas = np.sqrt(np.diag(covariance))
        for name, value, sigma in zip(factor.names, values.tolist(), sigmas.tolist(), strict=True):
            note = ""
            # One cycle is lost in one count: rates that stay off have lost none.
            if name in jumps and not (kind := kind_named(jumps[name].kind)).counted:
                of_kind = linearisation.kind[header.samples] == kind.name
                ambiguity = linearisation.step[header.samples][of_kind]
                note = kind.slip_text(whole_steps(value, sigma, float(ambiguity[0])))
            found.append(PassEstimate(factor.pass_name, name, value, sigma, note))
        found += [PassEstimate(factor.pass_name, name, 0.0, np.inf) for name in factor.free]
    return tuple(found)
