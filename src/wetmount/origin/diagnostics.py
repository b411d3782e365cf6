"""Whether chains agree: rank-normalised split R-hat, bulk and tail effective sample size.

Vehtari A, Gelman A, Simpson D, Carpenter B, Bürkner P-C, Rank-normalization, folding, and localization: an improved
R-hat for assessing convergence of MCMC, Bayesian Analysis 16:667-718, 2021. Draws are arrays (chains, draws).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wetmount.distributions import normal_quantile

Array = NDArray[np.float64]

R_HAT_GOOD = 1.01
"""Below it chains may be relied upon (Vehtari et al. 2021)."""
ESS_GOOD = 400.0
"""Effective samples, bulk and tail, below which R-hat itself is unsure (the same, 100 for each of four chains)."""


def r_hat(draws: Array) -> float:
    """Rank-normalised split R-hat: the larger of the plain one and that of the draws folded about their median.

    nan when there are fewer than four draws in a chain or all draws are equal.
    """
    if draws.shape[1] < 4 or np.ptp(draws) == 0:
        return float("nan")
    halves = _split(draws)
    folded = np.abs(halves - np.median(halves))
    return max(_plain_r_hat(_rank_normal(halves)), _plain_r_hat(_rank_normal(folded)))


def ess_bulk(draws: Array) -> float:
    """Effective number of samples for the centre: that of the rank-normalised split draws; nan as `r_hat`."""
    if draws.shape[1] < 4 or np.ptp(draws) == 0:
        return float("nan")
    return _ess(_rank_normal(_split(draws)))


def ess_tail(draws: Array) -> float:
    """Effective number of samples for the tails: the smaller for the 5 % and the 95 % quantile; nan as `r_hat`.

    Where no draw lies beyond a quantile, as with few distinct values, that tail says nothing and is left out.
    """
    if draws.shape[1] < 4 or np.ptp(draws) == 0:
        return float("nan")
    found = []
    for share in (0.05, 0.95):
        below = _split((draws <= np.quantile(draws, share)).astype(float))
        if np.ptp(below) > 0:
            found.append(_ess(below))
    return min(found, default=float("nan"))


def _split(draws: Array) -> Array:
    """Each chain cut into its two halves; the middle draw of an odd number is left out."""
    half = draws.shape[1] // 2
    return np.concatenate((draws[:, :half], draws[:, -half:]))


def _rank_normal(draws: Array) -> Array:
    """Normal scores of ranks over all chains, ties at their average: Φ⁻¹((rank − 3/8) / (S + 1/4))."""
    _, place, times = np.unique(draws, return_inverse=True, return_counts=True)
    last = np.cumsum(times)
    rank = last - (times - 1) / 2
    scores = normal_scores((rank - 0.375) / (draws.size + 0.25))
    found: Array = scores[place].reshape(draws.shape)
    return found


@lru_cache(maxsize=1)
def _quantile_grid() -> tuple[Array, Array]:
    z = np.linspace(-6, 6, 24_001)
    # the distribution function at the grid, summed from the density by Simpson's rule, exact to 1e-15
    step = z[1] - z[0]
    middle = (z[1:] + z[:-1]) / 2
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    between = np.exp(-(middle**2) / 2) / np.sqrt(2 * np.pi)
    part = step / 6 * (density[:-1] + 4 * between + density[1:])
    return z, np.concatenate(([0.0], np.cumsum(part))) + 9.865876450376946e-10


def normal_scores(p: Array) -> Array:
    """Quantiles of the standard normal distribution for many p, to about 1e-7 between 1e-8 and 1 − 1e-8."""
    z, below = _quantile_grid()
    found: Array = np.interp(p, below, z)
    edge = (p < 1e-7) | (p > 1 - 1e-7)
    if edge.any():
        found[edge] = [normal_quantile(float(one)) for one in p[edge]]
    return found


def _plain_r_hat(draws: Array) -> float:
    """sqrt(var⁺ / W): pooled over within-chain variance (Gelman & Rubin 1992)."""
    number = draws.shape[1]
    within = draws.var(axis=1, ddof=1).mean()
    between = number * draws.mean(axis=1).var(ddof=1)
    if within == 0:
        return float("inf") if between > 0 else float("nan")
    return float(np.sqrt((between / within + number - 1) / number))


def _ess(draws: Array) -> float:
    """Effective sample size by Geyer's initial monotone sequence over all chains, at most S log10(S)."""
    chains, number = draws.shape
    covariance = _autocovariance(draws)
    within = covariance[:, 0].mean() * number / (number - 1)
    pooled = within * (number - 1) / number
    if chains > 1:
        pooled += draws.mean(axis=1).var(ddof=1)
    if pooled == 0:
        return float("nan")
    rho = 1 - (within - covariance.mean(axis=0)) / pooled
    rho[0] = 1.0
    # sums of neighbouring pairs, as far as they stay positive, made to fall (Geyer 1992)
    pairs = rho[: number // 2 * 2].reshape(-1, 2).sum(axis=1)
    furthest = max(0, (number - 3) // 2)
    stop = np.flatnonzero(pairs[: furthest + 1] <= 0)
    kept = int(stop[0]) if stop.size else furthest
    tau = -1 + 2 * np.minimum.accumulate(pairs[:kept]).sum() + max(float(rho[2 * kept]), 0.0)
    size = chains * number
    return float(size / max(tau, 1 / np.log10(size)))


def _autocovariance(draws: Array) -> Array:
    """Biased autocovariance of every chain at every lag, by the fast Fourier transform."""
    number = draws.shape[1]
    centred = draws - draws.mean(axis=1, keepdims=True)
    length = 1 << (2 * number - 1).bit_length()
    spectrum = np.fft.rfft(centred, length, axis=1)
    found: Array = np.fft.irfft(np.abs(spectrum) ** 2, length, axis=1)[:, :number] / number
    return found
