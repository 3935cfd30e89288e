"""From residuals to noise: spectrum, Allan deviation, and levels by maximum likelihood.

In: residuals of passes with their geometry, and a budget whose levels are in doubt. Out:
the spectrum and Allan deviation of a pass; the factor on each contribution with its
uncertainty, and the budget with these factors.

The likelihood is the restricted one (Patterson & Thompson 1971, Biometrika 58, 545): a
polynomial for each kind of sample in each pass, such as the bias that a fit has taken out,
is projected away first, so that the levels are not biased by its estimation. With
``C = sum_k theta_k C_k``, ``theta_k`` the square of the factor of contribution k,

    -2 ln L = ln det C + r^T C^-1 r,   F_kl = tr(C^-1 C_k C^-1 C_l) / 2

where F is the Fisher information of the theta. Its inverse gives the uncertainties if all
passes have one level; from several passes, each of which has its own, they are known no better
than the jackknife over passes tells (`wobble.noise.between_passes`), which follows from the
scores ``s_i`` of the passes by one step of Fisher scoring without each:

    theta_(i) = theta - (F - F_i)^-1 s_i,   s_ik = (r^T C^-1 C_k C^-1 r - tr C^-1 C_k) / 2
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.linalg import lapack, null_space

from wobble.errors import ConvergenceError, InputError
from wobble.noise.allan import overlapping_allan_deviation
from wobble.noise.between_passes import jackknife_error
from wobble.noise.budget import Budget
from wobble.noise.geometry import PassGeometry

__all__ = [
    "NoiseEstimate",
    "estimate_levels",
    "expected_spectrum",
    "residual_allan_deviation",
    "residual_spectrum",
]

Array = NDArray[np.float64]

LOG_LIMIT = 30.0
"""Levels are sought within exp(+-30) of the budget's own variance."""
NO_INFORMATION = 1e-10
"""Eigenvalues below it, in units of the contributions' own information, are rounding error."""
GRID_TOLERANCE = 1e-3
"""How far from the grid of the counts a time tag may lie, in counts."""


@dataclass(frozen=True, eq=False)
class NoiseEstimate:
    """Levels of noise found in residuals.

    Attributes
    ----------
    budget : Budget
        The budget given, each contribution with its estimated ``scale``.
    names : list of str
        Names of the contributions.
    scales : ndarray, shape (k,)
        Factors on their standard deviations, relative to the budget given.
    sigmas : ndarray, shape (k,)
        Standard errors of the factors, the scatter between passes included; where a
        contribution is too small to be seen, the factor is near zero and its sigma is an upper
        limit; where the data cannot show it at all, the sigma is infinite and the factor is 1,
        as given.
    log_likelihood : float
        Restricted log-likelihood at the maximum, without constants.
    """

    budget: Budget
    names: list[str]
    scales: Array
    sigmas: Array
    log_likelihood: float

    def __repr__(self) -> str:
        lines = [
            f"  {name:<24}{scale:10.4f} +- {sigma:.4f}"
            for name, scale, sigma in zip(self.names, self.scales, self.sigmas, strict=True)
        ]
        return "\n".join(["<NoiseEstimate: factor on each standard deviation", *lines]) + ">"


def residual_spectrum(residuals: Array, geometry: PassGeometry) -> tuple[Array, Array]:
    """One-sided power spectral density of range-rate residuals of one count time.

    The periodogram of Lomb (1976) and Scargle (1982), so that gaps do no harm; for a pass
    without gaps it is the classical periodogram.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        Residuals of all samples of the pass; only range rates are used.
    geometry : PassGeometry
        The samples.

    Returns
    -------
    frequency : ndarray, shape (k,)
        Hz, from 1 over the length of the pass to half the rate of the counts.
    density : ndarray, shape (k,)
        m^2/s^2/Hz.
    """
    slot, values, count = _counted(residuals, geometry)
    frequency = _frequencies(slot, count)
    amplitude = _harmonics(count * slot.astype(float), frequency) @ (values - values.mean())
    return frequency, count * (amplitude**2).sum(axis=0)


def expected_spectrum(budget: Budget, geometry: PassGeometry) -> Array:
    """Mean of `residual_spectrum` over noise of a budget, m^2/s^2/Hz, shape (k,).

    With the gaps of the pass and without its mean, so that residuals can be held against it.
    """
    slot, _, count = _counted(np.zeros(len(geometry)), geometry)
    chosen = geometry[~geometry.is_range]
    chosen = chosen[np.argsort(chosen.time)]
    harmonics = _harmonics(count * slot.astype(float), _frequencies(slot, count))
    harmonics -= harmonics.mean(axis=-1, keepdims=True)
    return count * ((harmonics @ budget.covariance(chosen)) * harmonics).sum(axis=(0, 2))


def _frequencies(slot: NDArray[np.intp], count: float) -> Array:
    length = int(slot[-1]) + 1
    return np.arange(1, (length - 1) // 2 + 1) / (length * count)


def _harmonics(time: Array, frequency: Array) -> Array:
    """Cosine and sine, orthogonal at the given times and of unit length, shape (2, k, n).

    By the shift of the origin of time of Lomb (1976, Astrophys. Space Sci. 39, 447).
    """
    angle = 2.0 * np.pi * frequency[:, None] * time
    shift = np.arctan2(np.sin(2.0 * angle).sum(axis=1), np.cos(2.0 * angle).sum(axis=1)) / 2.0
    waves = np.stack([np.cos(angle - shift[:, None]), np.sin(angle - shift[:, None])])
    return np.asarray(waves / np.linalg.norm(waves, axis=-1, keepdims=True))


def residual_allan_deviation(
    residuals: Array, geometry: PassGeometry, factors: Sequence[int] | None = None
) -> tuple[Array, Array, NDArray[np.intp]]:
    """Overlapping Allan deviation of range-rate residuals of one count time.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        Residuals of all samples of the pass; only range rates are used.
    geometry : PassGeometry
        The samples; missing counts are gaps.
    factors : sequence of int, optional
        Averaging times in counts; octaves up to a third of the pass if left out.

    Returns
    -------
    averaging_time : ndarray, shape (k,)
        s.
    deviation : ndarray, shape (k,)
        m/s; times ``2 / c`` (one-way ``1 / c``) it is that of the fractional frequency.
    terms : ndarray of int, shape (k,)
        Number of differences behind each.
    """
    slot, values, count = _counted(residuals, geometry)
    series = np.full(int(slot[-1]) + 1, np.nan)
    series[slot] = values
    if factors is None:
        octaves = int(np.log2(max(series.size / 3.0, 1.0)))
        factors = [2**k for k in range(octaves + 1)]
    deviation, terms = overlapping_allan_deviation(series, factors)
    return np.asarray(factors, float) * count, deviation, terms


def _counted(residuals: Array, geometry: PassGeometry) -> tuple[NDArray[np.intp], Array, float]:
    """Range rates of one count time on the grid of their counts: slots, values, count time."""
    chosen = ~geometry.is_range
    values = _checked(residuals, geometry)[chosen]
    counts = np.unique(geometry.count_time[chosen])
    if counts.size != 1:
        raise InputError(
            "a spectrum needs range rates of one count time",
            field="count_time",
            found=counts.tolist(),
        )
    order = np.argsort(geometry.time[chosen])
    place = (geometry.time[chosen][order] - geometry.time[chosen].min()) / counts[0]
    slot = np.round(place).astype(np.intp)
    if np.abs(place - slot).max() > GRID_TOLERANCE:
        raise InputError(
            "the counts do not lie on one grid",
            field="time",
            expected=f"gaps of whole counts of {counts[0]:g} s",
        )
    return slot, values[order], float(counts[0])


def _checked(residuals: Array, geometry: PassGeometry) -> Array:
    values = np.asarray(residuals, float)
    if values.shape != geometry.time.shape or not np.isfinite(values).all():
        raise InputError(
            "residuals do not match the samples, or are not finite",
            field="residuals",
            found=values.shape,
            expected=f"finite, shape {geometry.time.shape}",
        )
    return values


def estimate_levels(
    passes: Sequence[tuple[Array, PassGeometry]], budget: Budget, *, degree: int = 0
) -> NoiseEstimate:
    """Factors on the contributions of a budget by restricted maximum likelihood.

    Parameters
    ----------
    passes : sequence of (residuals, PassGeometry)
        Residuals in m and m/s; passes are independent.
    budget : Budget
        The contributions whose levels are estimated, all of them.
    degree : int
        Degree of the polynomial in time that the fit has taken from each kind in each
        pass: 0 for a bias, 1 for a bias and a drift.

    Raises
    ------
    InputError
        If residuals do not match their pass, or a pass leaves nothing after the polynomial.
    NotPositiveDefiniteError
        If the budget's own covariance has no square root.
    ConvergenceError
        If no maximum is found.
    """
    blocks = [_projected(residuals, geometry, budget, degree) for residuals, geometry in passes]
    n = len(budget.contributions)
    found = optimize.minimize(
        lambda log: _deviance(np.exp(log), blocks),
        np.zeros(n),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-LOG_LIMIT, LOG_LIMIT)] * n,
        options={"maxiter": 500, "ftol": 1e-13, "gtol": 1e-6},
    )
    if not found.success and "ABNORMAL" not in str(found.message):
        raise ConvergenceError(f"no maximum of the likelihood of the noise: {found.message}")
    theta = np.exp(found.x)
    scales = np.sqrt(theta)
    scores, information = _by_pass(theta, blocks)
    sigma_theta = _sigmas(information.sum(axis=0))
    # d(scale) = d(theta) / (2 scale); near zero the square root of the sigma is the limit.
    of_one_level = np.minimum(sigma_theta / (2.0 * scales), np.sqrt(sigma_theta))
    sigmas = np.maximum(of_one_level, _scatter(theta, scores, information))
    contributions = tuple(
        replace(c, scale=c.scale * float(scale))
        for c, scale in zip(budget.contributions, scales, strict=True)
    )
    return NoiseEstimate(Budget(contributions), budget.names, scales, sigmas, -0.5 * found.fun)


@dataclass(frozen=True, eq=False)
class _Block:
    """A pass without its polynomial: residuals (q,) and covariances (k, q, q)."""

    residuals: Array
    covariances: Array


def _projected(residuals: Array, geometry: PassGeometry, budget: Budget, degree: int) -> _Block:
    values = _checked(residuals, geometry)
    spread = budget.sigma(geometry)
    time = geometry.time - geometry.time.mean()
    time = time / max(float(np.abs(time).max()), 1.0)
    powers = np.vander(time, degree + 1)
    columns = [powers * kind[:, None] for kind in (geometry.is_range, ~geometry.is_range)]
    polynomial = np.hstack([block for block in columns if block.any()])
    # In units of their sigmas metres and metres per second are comparable.
    rest = null_space((polynomial / spread[:, None]).T)
    if not rest.size:
        raise InputError(
            "a pass has no more samples than the polynomial that was fitted to it",
            field="degree",
            found=f"{len(geometry)} samples, degree {degree}",
        )
    budget.factor(geometry)  # raises where the covariance has no square root
    parts = []
    for part in budget.alone().values():
        whole = part.covariance(geometry) / np.outer(spread, spread)
        left = rest.T @ whole @ rest
        # What remains of a bias after the polynomial is rounding error, and no information.
        parts.append(left * (np.trace(left) > 1e-10 * np.trace(whole)))
    return _Block(rest.T @ (values / spread), np.stack(parts))


def _deviance(theta: Array, blocks: Sequence[_Block]) -> tuple[float, Array]:
    """``-2 ln L`` and its gradient by the logarithms of theta."""
    value, gradient = 0.0, np.zeros(theta.size)
    for block in blocks:
        log_determinant, inverse = _inverted(theta, block)
        weighted = inverse @ block.residuals
        value += log_determinant + float(block.residuals @ weighted)
        gradient -= 2.0 * theta * _score(block, inverse)
    return value, gradient


def _score(block: _Block, inverse: Array) -> Array:
    """Derivatives of ln L of a pass by the theta, shape (k,)."""
    weighted = inverse @ block.residuals
    traces = np.einsum("ij,kij->k", inverse, block.covariances)
    squares = np.einsum("i,kij,j->k", weighted, block.covariances, weighted)
    return np.asarray((squares - traces) / 2.0)


def _by_pass(theta: Array, blocks: Sequence[_Block]) -> tuple[Array, Array]:
    """Scores (m, k) and Fisher information (m, k, k) of each pass."""
    scores = np.zeros((len(blocks), theta.size))
    information = np.zeros((len(blocks), theta.size, theta.size))
    for i, block in enumerate(blocks):
        _, inverse = _inverted(theta, block)
        parts = inverse @ block.covariances
        scores[i] = _score(block, inverse)
        information[i] = 0.5 * np.einsum("kij,lji->kl", parts, parts)
    return scores, information


def _scatter(theta: Array, scores: Array, information: Array) -> Array:
    """Standard errors of the scales by the scatter between passes; 0 where it is not seen."""
    total = information.sum(axis=0)
    steps = [_solved(total - own, score) for own, score in zip(information, scores, strict=True)]
    left_out = np.sqrt(np.maximum(theta - np.stack(steps), 0.0))
    return jackknife_error(left_out, np.diagonal(information, axis1=1, axis2=2) > 0.0)


def _sigmas(information: Array) -> Array:
    """Square roots of the diagonal of the inverse; infinite where there is no information."""
    size, seen, values, vectors = _scaled(information)
    # Contributions of one shape cannot be told apart: their sigmas become as large as they are.
    variance = (vectors**2 / np.maximum(values, np.finfo(float).eps)).sum(axis=1)
    result = np.full(size.size, np.inf)
    result[seen] = np.sqrt(variance) / size[seen]
    return result


def _solved(information: Array, score: Array) -> Array:
    """The step of Fisher scoring; 0 in directions of which there is no information."""
    size, seen, values, vectors = _scaled(information)
    told = values > NO_INFORMATION
    step = np.zeros(size.size)
    along = vectors[:, told].T @ (score[seen] / size[seen]) / values[told]
    step[seen] = vectors[:, told] @ along / size[seen]
    return step


def _scaled(information: Array) -> tuple[Array, NDArray[np.bool_], Array, Array]:
    """Square root of the diagonal, where it is positive, eigenvalues and -vectors of the rest.

    Of the information in units that make its diagonal 1.
    """
    size = np.sqrt(np.maximum(np.diagonal(information), 0.0))
    seen = size > 0.0
    scaled = information[np.ix_(seen, seen)] / np.outer(size[seen], size[seen])
    return size, seen, *np.linalg.eigh(scaled)


def _inverted(theta: Array, block: _Block) -> tuple[float, Array]:
    """Logarithm of the determinant, and the inverse, of the covariance at these levels."""
    matrix = np.einsum("k,kij->ij", theta, block.covariances)
    # Where a level has gone to zero, rounding must not spoil the factorisation.
    matrix[np.diag_indices_from(matrix)] += 1e-12 * np.trace(matrix) / len(matrix)
    lower = np.linalg.cholesky(matrix)
    root = lapack.dtrtri(lower, lower=1)[0]
    return 2.0 * float(np.log(np.diagonal(lower)).sum()), root.T @ root
