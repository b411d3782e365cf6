"""Two-by-two tables of an outbreak: attack rates, risk and odds ratios with intervals, exact and stratified tests.

Cells are counts of units (people, tanks): a ill exposed, b well exposed, c ill unexposed, d well unexposed. The notes
say what a figure leans on, above all where a cell is zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.distributions import bisect, chi2_sf, normal_quantile
from wetmount.errors import InputError

CONFIDENCE: Final = 0.95
Floats = NDArray[np.float64]
MOST: Final = 10_000_000
"""Units in one table; more would only be a slip, and the exact test would take its time over it."""


@dataclass(frozen=True, slots=True)
class TwoByTwo:
    """Ill and well, among exposed and unexposed units."""

    a: int
    b: int
    c: int
    d: int

    def __post_init__(self) -> None:
        for name in ("a", "b", "c", "d"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST:
                raise InputError(f"is {value!r}; accepted are whole numbers from 0 to {MOST}", field=f"cell {name}")

    @property
    def exposed(self) -> int:
        return self.a + self.b

    @property
    def unexposed(self) -> int:
        return self.c + self.d

    @property
    def ill(self) -> int:
        return self.a + self.c

    @property
    def well(self) -> int:
        return self.b + self.d

    @property
    def total(self) -> int:
        return self.exposed + self.unexposed

    @property
    def comparable(self) -> bool:
        """Whether there are exposed and unexposed, ill and well units: otherwise there is nothing to compare."""
        return bool(self.exposed and self.unexposed and self.ill and self.well)


@dataclass(frozen=True, slots=True)
class Ratio:
    """An estimate with its interval; None where it has none. `note` says what was done about a zero cell."""

    value: float | None
    low: float | None
    high: float | None
    note: str = ""


def two_by_two(ill: Sequence[bool | None], exposed: Sequence[bool | None]) -> tuple[TwoByTwo, int]:
    """The table of two lists of equal length, and how many units were left out because one of them is unknown."""
    if len(ill) != len(exposed):
        raise InputError(f"{len(ill)} units are ill or well, but {len(exposed)} exposed or not; accepted is one each")
    cells = [0, 0, 0, 0]
    left_out = 0
    for sick, had in zip(ill, exposed, strict=True):
        if sick is None or had is None:
            left_out += 1
        else:
            cells[(0 if had else 2) + (0 if sick else 1)] += 1
    return TwoByTwo(*cells), left_out


def attack_rates(table: TwoByTwo) -> tuple[float | None, float | None]:
    """Share ill of the exposed and of the unexposed; None where there are none.

    >>> [round(rate, 3) for rate in attack_rates(TwoByTwo(43, 11, 3, 18))]
    [0.796, 0.143]
    """
    return (
        table.a / table.exposed if table.exposed else None,
        table.c / table.unexposed if table.unexposed else None,
    )


ZERO_NOTE: Final = "a cell is zero: for the interval a half was added to every cell"


def risk_ratio(table: TwoByTwo, confidence: float = CONFIDENCE) -> Ratio:
    """Attack rate of the exposed over that of the unexposed, with the log-Wald interval.

    ln RR ± z sqrt(1/a - 1/(a+b) + 1/c - 1/(c+d)): Katz D and others, Biometrics 34:469-474, 1978. With a zero among
    a and c the ratio is 0, infinite or unknown, and the interval is that of the table with a half added to each cell.

    >>> ratio = risk_ratio(TwoByTwo(43, 11, 3, 18))
    >>> [round(x, 4) for x in (ratio.value, ratio.low, ratio.high)]
    [5.5741, 1.9383, 16.0293]
    """
    if not table.exposed or not table.unexposed:
        return Ratio(None, None, None, "all units or none were exposed: nothing to compare")
    if not table.ill or not table.well:
        return Ratio(None, None, None, "all are well, or all ill: nothing to compare")
    value = table.a * table.unexposed / (table.c * table.exposed) if table.c else math.inf
    zero = not table.a or not table.c
    a, b, c, d = _cells(table, zero)
    spread = math.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
    return _log_wald(value, a * (c + d) / (c * (a + b)), spread, zero, confidence)


def odds_ratio(table: TwoByTwo, confidence: float = CONFIDENCE) -> Ratio:
    """Odds of illness of the exposed over those of the unexposed, ad/bc, with the log-Wald interval.

    ln OR ± z sqrt(1/a + 1/b + 1/c + 1/d): Woolf B, Annals of Human Genetics 19:251-253, 1955; a half is added to each
    cell for the interval where one is zero (Haldane and Anscombe, 1956).

    >>> ratio = odds_ratio(TwoByTwo(647, 622, 2, 27))
    >>> [round(x, 4) for x in (ratio.value, ratio.low, ratio.high)]
    [14.0426, 3.3253, 59.3008]
    """
    if not table.comparable:
        return Ratio(None, None, None, "all units or none were exposed, or ill: nothing to compare")
    value = table.a * table.d / (table.b * table.c) if table.b * table.c else math.inf
    zero = not table.a * table.b * table.c * table.d
    a, b, c, d = _cells(table, zero)
    return _log_wald(value, a * d / (b * c), math.sqrt(1 / a + 1 / b + 1 / c + 1 / d), zero, confidence)


def _cells(table: TwoByTwo, zero: bool) -> tuple[float, float, float, float]:
    half = 0.5 if zero else 0.0
    return table.a + half, table.b + half, table.c + half, table.d + half


def _log_wald(value: float, centre: float, spread: float, zero: bool, confidence: float) -> Ratio:
    width = normal_quantile(0.5 + _sure(confidence) / 2) * spread
    return Ratio(value, centre * math.exp(-width), centre * math.exp(width), ZERO_NOTE if zero else "")


# --- tests of one table -----------------------------------------------------------------------------------------------

TIES: Final = 1 + 1e-7
"""Tables whose probability equals the observed one up to rounding count as equally likely."""


def fisher_exact(table: TwoByTwo, side: str = "two-sided") -> float:
    """Fisher's exact p: tables with the same margins that are no likelier than this one ("two-sided"), or whose count
    of ill exposed is at least ("greater") or at most ("less") a.

    The hypergeometric probabilities come from the ratios of neighbours, upwards and downwards from the likeliest one,
    so all terms are positive and nothing cancels. Fisher RA, The Design of Experiments, 1935.

    >>> round(fisher_exact(TwoByTwo(3, 1, 1, 3)), 6), round(fisher_exact(TwoByTwo(3, 1, 1, 3), "greater"), 6)
    (0.485714, 0.242857)
    """
    if side not in ("two-sided", "greater", "less"):
        raise InputError(f"{side!r} is no side; accepted are two-sided, greater and less", field="side")
    lowest = max(0, table.ill - table.unexposed)
    highest = min(table.ill, table.exposed)
    shares = _hypergeometric(table, lowest, highest)
    at = table.a - lowest
    if side == "greater":
        return float(min(1.0, shares[at:].sum()))
    if side == "less":
        return float(min(1.0, shares[: at + 1].sum()))
    return float(min(1.0, shares[shares <= shares[at] * TIES].sum()))


def exact_odds_ratio(table: TwoByTwo, confidence: float = CONFIDENCE) -> Ratio:
    """Conditional odds ratio with its exact interval, which needs no half added where a cell is zero.

    Given the margins, a follows Fisher's noncentral hypergeometric distribution with weights P(k) ψ^k. The estimate has
    mean a; the limits leave (1 - confidence)/2 at or beyond a on either side. Cornfield J, Proceedings of the Third
    Berkeley Symposium 4:135-148, 1956.

    >>> ratio = exact_odds_ratio(TwoByTwo(5, 0, 0, 7))
    >>> ratio.value, round(ratio.low, 3), ratio.high
    (inf, 3.388, inf)
    """
    if not table.comparable:
        return Ratio(None, None, None, "all units or none were exposed, or ill: nothing to compare")
    lowest, highest = max(0, table.ill - table.unexposed), min(table.ill, table.exposed)
    log_shares = _log_hypergeometric(table, lowest, highest)
    k, tail = np.arange(lowest, highest + 1, dtype=np.float64), (1 - _sure(confidence)) / 2
    beyond, upto = k >= table.a, k <= table.a

    def weights(log_ratio: float) -> Floats:
        log = log_shares + k * log_ratio
        unscaled = np.exp(log - log.max())
        scaled: Floats = unscaled / unscaled.sum()
        return scaled

    at_top, at_bottom = table.a == highest, table.a == lowest

    def solve(short_of_zero: Callable[[float], float]) -> float:
        return math.exp(bisect(lambda log_ratio: float(short_of_zero(log_ratio)), *_WIDE))

    value = math.inf if at_top else 0.0 if at_bottom else solve(lambda x: float(weights(x) @ k) - table.a)
    low = 0.0 if at_bottom else solve(lambda x: weights(x)[beyond].sum() - tail)
    high = math.inf if at_top else solve(lambda x: tail - weights(x)[upto].sum())
    return Ratio(value, low, high)


_WIDE: Final = (-100.0, 100.0)
"""Natural logarithms of odds ratios between which every limit of a table of millions lies."""


def _sure(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise InputError(f"{confidence:g} is no confidence; accepted are numbers between 0 and 1, such as 0.95")
    return confidence


def _hypergeometric(table: TwoByTwo, lowest: int, highest: int) -> Floats:
    """Probability of each possible a, from lowest to highest, with the margins as they are."""
    up, mode = _ratios(table, lowest, highest)
    weights = np.ones(highest - lowest + 1)
    weights[mode + 1 :] = np.cumprod(up[mode:])
    weights[:mode] = np.cumprod(1 / up[:mode][::-1])[::-1]
    shares: Floats = weights / math.fsum(weights)
    return shares


def _log_hypergeometric(table: TwoByTwo, lowest: int, highest: int) -> Floats:
    """Natural logarithms of the same, up to a constant: in large tables most are too small for a float."""
    up, mode = _ratios(table, lowest, highest)
    logs = np.zeros(highest - lowest + 1)
    logs[mode + 1 :] = np.cumsum(np.log(up[mode:]))
    logs[:mode] = -np.cumsum(np.log(up[:mode])[::-1])[::-1]
    return logs


def _ratios(table: TwoByTwo, lowest: int, highest: int) -> tuple[Floats, int]:
    """P(k + 1) / P(k) for each k from lowest, and the place of the likeliest k."""
    n1, n0, m1 = table.exposed, table.unexposed, table.ill
    k = np.arange(lowest, highest, dtype=np.float64)
    up: Floats = (n1 - k) * (m1 - k) / ((k + 1) * (n0 - m1 + k + 1))
    return up, min(max((n1 + 1) * (m1 + 1) // (table.total + 2), lowest), highest) - lowest


def chi_square(table: TwoByTwo, *, yates: bool = False) -> tuple[float, float] | None:
    """Pearson's X² on one degree of freedom with its p; with Yates' correction no further than to 0. None without a
    comparison. Yates F, Supplement to the Journal of the Royal Statistical Society 1:217-235, 1934.

    >>> [round(chi_square(TwoByTwo(43, 11, 3, 18), yates=y)[0], 4) for y in (False, True)]
    [27.2225, 24.537]
    """
    if not table.comparable:
        return None
    gap = float(abs(table.a * table.d - table.b * table.c))
    if yates:
        gap = max(0.0, gap - table.total / 2)
    statistic = table.total * gap**2 / (table.exposed * table.unexposed * table.ill * table.well)
    return statistic, chi2_sf(statistic, 1)


# --- several strata ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stratified:
    """One exposure over several strata, with what the strata hold fixed.

    Tests are (X², p); `breslow_day` has strata - 1 degrees of freedom and asks whether the odds ratio is the same in
    all. `strata` are those in which there was something to compare, of `given`.
    """

    odds_ratio: Ratio
    risk_ratio: Ratio
    cmh: tuple[float, float] | None
    cmh_corrected: tuple[float, float] | None
    breslow_day: tuple[float, float] | None
    crude: TwoByTwo
    strata: int
    given: int


def mantel_haenszel(tables: Sequence[TwoByTwo], confidence: float = CONFIDENCE) -> Stratified:
    """Odds and risk ratio over strata, the test of no association, and that of equal odds ratios.

    Odds ratio and X² (with and without the correction of one half): Mantel N, Haenszel W, Journal of the National
    Cancer Institute 22:719-748, 1959; its interval: Robins J, Breslow N, Greenland S, Biometrics 42:311-323, 1986.
    Risk ratio and interval: Greenland S, Robins J, Biometrics 41:55-68, 1985. Equal odds ratios: Breslow NE, Day NE,
    Statistical Methods in Cancer Research I, 1980, 4.4. The correction is the printed one, so that where the counts
    differ from expectation by less than a quarter the corrected X² is the larger.

    >>> found = mantel_haenszel([TwoByTwo(22, 6, 3, 16), TwoByTwo(20, 5, 0, 2)])
    >>> round(found.odds_ratio.value, 4), round(found.risk_ratio.value, 4)
    (23.4239, 5.8051)
    """
    used = [table for table in tables if table.exposed and table.unexposed and table.total > 1]
    crude = TwoByTwo(*(sum(getattr(table, cell) for table in tables) for cell in "abcd"))
    informative = [table for table in used if table.comparable]
    if not informative:
        nothing = Ratio(None, None, None, "no stratum has exposed and unexposed, ill and well units")
        return Stratified(nothing, nothing, None, None, None, crude, 0, len(tables))
    odds = _mh_odds(informative, confidence)
    gap = sum(table.a - table.exposed * table.ill / table.total for table in informative)
    variance = sum(
        table.exposed * table.unexposed * table.ill * table.well / (table.total**2 * (table.total - 1))
        for table in informative
    )
    plain, corrected = gap**2 / variance, (abs(gap) - 0.5) ** 2 / variance
    return Stratified(
        odds,
        _mh_risk(used, confidence),
        (plain, chi2_sf(plain, 1)),
        (corrected, chi2_sf(corrected, 1)),
        _breslow_day(informative, odds.value),
        crude,
        len(informative),
        len(tables),
    )


def _mh_odds(tables: Sequence[TwoByTwo], confidence: float) -> Ratio:
    r = [table.a * table.d / table.total for table in tables]
    s = [table.b * table.c / table.total for table in tables]
    if not sum(r) or not sum(s):
        value = math.inf if sum(r) else 0.0
        return Ratio(value if sum(r) or sum(s) else None, None, None, "a cell is zero in every stratum: no interval")
    p = [(table.a + table.d) / table.total for table in tables]
    q = [(table.b + table.c) / table.total for table in tables]
    variance = (
        _dot(p, r) / (2 * sum(r) ** 2)
        + (_dot(p, s) + _dot(q, r)) / (2 * sum(r) * sum(s))
        + _dot(q, s) / (2 * sum(s) ** 2)
    )
    return _log_wald(sum(r) / sum(s), sum(r) / sum(s), math.sqrt(variance), False, confidence)


def _mh_risk(tables: Sequence[TwoByTwo], confidence: float) -> Ratio:
    r = sum(table.a * table.unexposed / table.total for table in tables)
    s = sum(table.c * table.exposed / table.total for table in tables)
    if not r or not s:
        value = math.inf if r else 0.0
        return Ratio(value if r or s else None, None, None, "none is ill on one side in every stratum: no interval")
    spread = sum(
        table.ill * table.exposed * table.unexposed / table.total**2 - table.a * table.c / table.total
        for table in tables
    )
    return _log_wald(r / s, r / s, math.sqrt(spread / (r * s)), False, confidence)


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def _breslow_day(tables: Sequence[TwoByTwo], ratio: float | None) -> tuple[float, float] | None:
    """X² of the differences between each a and the one fitted with the common odds ratio; None without one."""
    if ratio is None or not ratio or math.isinf(ratio) or len(tables) < 2:
        return None
    statistic = 0.0
    for table in tables:
        fitted = _fitted(table, ratio)
        cells = (fitted, table.exposed - fitted, table.ill - fitted, table.unexposed - table.ill + fitted)
        statistic += (table.a - fitted) ** 2 * sum(1 / cell for cell in cells)
    return statistic, chi2_sf(statistic, len(tables) - 1)


def _fitted(table: TwoByTwo, ratio: float) -> float:
    """The a with this odds ratio in a table with these margins: the root of a quadratic between its bounds."""
    n1, n0, m1 = table.exposed, table.unexposed, table.ill
    if abs(ratio - 1) < 1e-12:
        return n1 * m1 / table.total
    square, linear, constant = 1 - ratio, n0 - m1 + ratio * (n1 + m1), -ratio * n1 * m1
    # Of the two roots only this one lies between the bounds; written so that near ratio 1 nothing cancels.
    return -2 * constant / (linear + math.sqrt(linear**2 - 4 * square * constant))


# --- many comparisons -------------------------------------------------------------------------------------------------


def holm(p: Sequence[float]) -> list[float]:
    """p adjusted so that a false alarm among all comparisons stays as rare as asked: Holm S, Scandinavian Journal of
    Statistics 6:65-70, 1979.

    >>> [round(x, 3) for x in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(p)), key=p.__getitem__)
    adjusted, so_far = [0.0] * len(p), 0.0
    for rank, index in enumerate(order):
        so_far = max(so_far, min(1.0, p[index] * (len(p) - rank)))
        adjusted[index] = so_far
    return adjusted


def benjamini_hochberg(p: Sequence[float]) -> list[float]:
    """p adjusted for the share of false ones among those believed: Benjamini Y, Hochberg Y, Journal of the Royal
    Statistical Society B 57:289-300, 1995.

    >>> [round(x, 3) for x in benjamini_hochberg([0.01, 0.04, 0.03])]
    [0.03, 0.04, 0.04]
    """
    order = sorted(range(len(p)), key=p.__getitem__, reverse=True)
    adjusted, so_far = [0.0] * len(p), 1.0
    for rank, index in enumerate(order):
        so_far = min(so_far, p[index] * len(p) / (len(p) - rank))
        adjusted[index] = so_far
    return adjusted
