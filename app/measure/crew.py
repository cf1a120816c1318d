"""At least one of several: people who look at the same thing from different places, and share what makes it hard.

Member i says yes with chance p_i where it sees, and sees a share v_i (the view weight, a judgement). What makes a case
hard for all is a standard normal u: p_i(u) = Phi((z(p_i) + sqrt(rho) u)/sqrt(1-rho)) keeps the mean p_i (one-factor
probit). P(at least one yes) = 1 - INT prod_i (1 - v_i p_i(u)) phi(u) du. It serves catches and false alarms alike: what
raises the one raises the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from app.measure.arguments import Floats, Gappy, amounts, marks, shares, whole

U, MASS = np.polynomial.hermite_e.hermegauss(41)
SHARES = MASS / MASS.sum()
RHOS = (0.2, 0.35, 0.5)
Counts = Sequence[tuple[int, int]]
"""(yes, n) of each member."""


@dataclass(frozen=True)
class CrewInterval:
    """Posterior mean of a crew figure, its equal-tailed limits, from n answers of all members together.

    over: chance that the figure exceeds the target, if one was named.
    """

    mean: float
    low: float
    high: float
    n: int
    over: float | None = None


@dataclass(frozen=True, eq=False)
class Grid:
    """Beta priors (a, b) of a pool of people, each with its posterior weight; the weights sum to 1."""

    a: Floats
    b: Floats
    weight: Floats


@dataclass(frozen=True)
class Narrowing:
    """What more answers of one member would do: expected width of the crew's interval now and then."""

    member: int
    width: float
    expected: float

    @property
    def gain(self) -> float:
        """By how much the interval is expected to narrow."""
        return self.width - self.expected


def crew_any(p: npt.ArrayLike, v: npt.ArrayLike, rho: float) -> float:
    """Chance that at least one member says yes; 0 without members.

    p: one chance a member; v: view weights, one or one a member; rho from 0 up to but not 1: share of what members
    have in common. rho = 0 is independence, 1 - prod(1 - v p).

    >>> round(crew_any([.7, .7, .7], 1, 0), 3), round(crew_any([.7, .7, .7], 1, .4), 4)
    (0.973, 0.9173)
    """
    chances = np.atleast_1d(shares("p", p))
    views = np.broadcast_to(shares("v", v), chances.shape)
    return float(_any(chances, views, np.asarray(_common(rho))))


def _common(rho: float) -> float:
    if not 0 <= rho < 1:
        raise ValueError(f"rho must be at least 0 and under 1, not {rho}")
    return float(rho)


def _any(p: Floats, v: Floats, rho: Floats) -> Floats:
    """`crew_any` for p and v of shape (..., members) and rho of shape (...)."""
    u = np.sqrt(rho)[..., None, None] * U[:, None]
    at_u = special.ndtr((special.ndtri(p)[..., None, :] + u) / np.sqrt(1 - rho)[..., None, None])
    return np.asarray((1 - np.prod(1 - v[..., None, :] * at_u, axis=-1)) @ SHARES)


def hyper_grid(x: npt.ArrayLike, n: npt.ArrayLike) -> Grid:
    """What a pool of people (x yes of n each) says about people like them: Beta priors with posterior weights.

    ln(a+b) ~ N(ln 12, .8^2) on 33 points, the mean a/(a+b) flat on 99; each weighed by the beta-binomial likelihood of
    the pool. A grid, because the single best prior can collapse on a small pool. Without people it is the prior.

    >>> grid = hyper_grid([8, 7, 9], [10, 10, 10])
    >>> round(float(grid.weight @ (grid.a / (grid.a + grid.b))), 2)
    0.76
    """
    yes, total = amounts("x", x).ravel(), amounts("n", n).ravel()
    if yes.shape != total.shape or bool(np.any(yes > total)):
        raise ValueError("x and n must pair, and no x may exceed its n")
    steps = np.linspace(-2.5, 2.5, 33)
    mean, score = (axis.ravel() for axis in np.meshgrid(np.linspace(0.01, 0.99, 99), steps))
    size = 12 * np.exp(0.8 * score)
    a, b = mean * size, (1 - mean) * size
    weight = -(score**2) / 2
    for (k, m), people in zip(*np.unique(np.stack([yes, total], axis=1), axis=0, return_counts=True), strict=True):
        weight += people * (special.betaln(a + k, b + m - k) - special.betaln(a, b))
    return Grid(a, b, special.softmax(weight))


def crew_posterior(
    counts: Counts,
    view: npt.ArrayLike,
    prior_grid: Grid,
    rho_grid: Sequence[float] = RHOS,
    draws: int = 2000,
    seed: int = 0,
    conf: float = 0.90,
    target: float | None = None,
    shared: bool = False,
) -> CrewInterval | None:
    """The crew figure with all that is uncertain: each member's chance, the prior of the pool, and rho.

    counts: (yes, n) of each member; view: weights of the members; rho: the values of rho_grid alike likely. By draws:
    a prior from the grid, p_i ~ Beta(a + yes, b + n - yes), a rho, `crew_any`. shared: the members answered the same
    cases, so that they share those cases' luck and their errors go together. None without members.

    >>> crew = crew_posterior([(8, 10), (9, 12), (5, 8)], [1, .6, .3], hyper_grid([8, 9, 5], [10, 12, 8]))
    >>> round(crew.mean, 2), crew.n, crew.low < crew.mean < crew.high
    (0.85, 30, True)
    """
    yes, total = _members(counts)
    if not len(yes):
        return None
    views = np.broadcast_to(shares("view", view), yes.shape)
    figures = _draws(yes, total, views, prior_grid, rho_grid, whole("draws", draws, least=1), seed, shared)
    low, high = np.quantile(figures, [(1 - conf) / 2, (1 + conf) / 2]).tolist()
    over = None if target is None else float((figures > target).mean())
    return CrewInterval(float(figures.mean()), low, high, int(total.sum()), over)


def _members(counts: Counts) -> tuple[Floats, Floats]:
    pairs = amounts("counts", counts).reshape(-1, 2)
    if bool(np.any(pairs[:, 0] > pairs[:, 1])):
        raise ValueError("no member can have said yes more often than asked")
    return pairs[:, 0], pairs[:, 1]


def _draws(
    yes: Floats,
    total: Floats,
    view: Floats,
    grid: Grid,
    rho_grid: Sequence[float],
    draws: int,
    seed: int,
    shared: bool = False,
) -> Floats:
    """Draws from the posterior of the crew figure."""
    rng = np.random.default_rng(seed)
    prior = rng.choice(len(grid.weight), size=draws, p=grid.weight)
    rho = rng.choice([_common(rho) for rho in rho_grid], size=draws)
    a, b = grid.a[prior, None] + yes, grid.b[prior, None] + total - yes
    p = (
        _together(rng, a, b, _luck(total, a + b, float(yes.sum() / max(1.0, total.sum())), rho))
        if shared
        else rng.beta(a, b)
    )
    return _any(p, np.broadcast_to(view, p.shape), rho)


def _luck(total: Floats, weight: Floats, p: float, rho: Floats) -> Floats:
    """Draws x members: how far the error of a member's posterior is the luck of cases that all answered.

    Two answers to one case correlate by r = (INT p(u)^2 phi(u) du - p^2)/(p(1-p)); n answers make up n/weight of the
    posterior, which shrinks its error, and with it the part in common, by as much.
    """
    p = min(max(p, 0.02), 0.98)  # at 0 and 1 there is no correlation to speak of
    r = {one: max(0.0, (_both(p, one) - p * p) / (p * (1 - p))) for one in set(rho.tolist())}
    return np.asarray(np.array([r[one] for one in rho.tolist()])[:, None] * total / weight)


def _together(rng: np.random.Generator, a: Floats, b: Floats, common: Floats) -> Floats:
    """Draws from Beta(a, b) whose normal scores share the part `common` of their variance (a Gaussian copula)."""
    score = np.sqrt(common) * rng.normal(size=(len(a), 1)) + np.sqrt(1 - common) * rng.normal(size=a.shape)
    return np.asarray(special.betaincinv(a, b, special.ndtr(score)))


def best_next_clip(
    counts: Counts,
    view: npt.ArrayLike,
    prior_grid: Grid,
    rho_grid: Sequence[float] = RHOS,
    more: int = 4,
    draws: int = 2000,
    seed: int = 0,
) -> tuple[Narrowing, ...]:
    """Whose next answers would narrow the crew's 90 % interval most: one row a member, the greatest gain first.

    For each member and each outcome of `more` further answers, its predictive chance (beta-binomial, averaged over the
    posterior grid) times the width of the interval that would follow; the same chance numbers throughout.

    >>> grid = hyper_grid([8, 9, 2], [10, 10, 3])
    >>> best_next_clip([(8, 10), (9, 10), (2, 3)], [1, .2, 1], grid)[0].member
    2
    """
    yes, total = _members(counts)
    views = np.broadcast_to(shares("view", view), yes.shape)
    rows, asked = [], whole("more", more, least=1)

    def width(right: Floats, of: Floats) -> float:
        low, high = np.quantile(_draws(right, of, views, prior_grid, rho_grid, draws, seed), [0.05, 0.95])
        return float(high - low)

    now = width(yes, total) if len(yes) else 0.0
    for member, one in enumerate(np.eye(len(yes))):
        chance = _predictive(yes[member], total[member], asked, prior_grid)
        widths = [width(yes + k * one, total + asked * one) for k in range(asked + 1)]
        rows.append(Narrowing(member, now, float(chance @ widths)))
    return tuple(sorted(rows, key=lambda row: -row.gain))


def _predictive(yes: float, n: float, more: int, grid: Grid) -> Floats:
    """Chance of k = 0 .. more further yes, given yes of n so far."""
    k = np.arange(more + 1)[:, None]
    a, b = grid.a + yes, grid.b + n - yes
    ways = -special.betaln(k + 1, more - k + 1) - np.log(more + 1)
    chance = np.exp(ways + special.betaln(a + k, b + more - k) - special.betaln(a, b))
    return np.asarray(chance @ grid.weight)


def estimate_rho(X: Gappy) -> float | None:
    """How much people have in common, from how often two of them are right on the same item.

    X: people x items of 1, 0 and gaps. The rho at which INT p(u)^2 phi(u) du of the one-factor probit equals the share
    of pairs both right, for the mean chance of the same pairs; 0 if they agree no more than chance, at most .99. Low by
    about .04 where people differ in ability, and rough under 20 people and 40 items. None without a pair, or where the
    pairs' answers are all alike.

    >>> round(estimate_rho([[1, 1, 0, 0], [1, 1, 0, 1], [1, 0, 0, 1]]), 3)
    0.477
    """
    answers = marks("X", X)
    n, k = (~np.isnan(answers)).sum(axis=0), np.nansum(answers, axis=0)
    pairs = float((n * (n - 1)).sum())
    p = float((k * (n - 1)).sum()) / pairs if pairs else 0.0
    if not 0 < p < 1:
        return None
    both = float((k * (k - 1)).sum()) / pairs

    def excess(rho: float) -> float:
        return _both(p, rho) - both

    if excess(0.0) >= 0:
        return 0.0
    return 0.99 if excess(0.99) <= 0 else float(optimize.brentq(excess, 0.0, 0.99))


def _both(p: float, rho: float) -> float:
    """Chance that two people who each say yes with chance p both do, on the same case."""
    return float(special.ndtr((special.ndtri(p) + np.sqrt(rho) * U) / np.sqrt(1 - rho)) ** 2 @ SHARES)
