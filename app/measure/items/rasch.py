"""Difficulty and ability on one scale: P(right) = expit(theta - b), theta ~ N(0, sd^2) over persons, in logits.

Difficulties are found with abilities summed out (marginal likelihood, Bock & Lieberman 1970) on an even grid of 97
standard scores from -6 to 6; gaps in the answers simply do not count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from app.measure.arguments import Floats, Gappy, amounts, finite, marks, positive

SCORES = np.linspace(-6, 6, 97)
LOG_SHARES = special.log_softmax(-(SCORES**2) / 2)
LOG_SD = (math.log(0.1), math.log(5.0))  # beyond these an ability scale means nothing


@dataclass(frozen=True, eq=False)
class Calib:
    """Per item: difficulty b, its standard error `se` from the observed information, n answers.

    se_complete is the smaller error that would hold if abilities were known. For all items together: sd of abilities,
    log-likelihood of the answers.
    """

    b: Floats
    se: Floats
    se_complete: Floats
    n: npt.NDArray[np.int64]
    sd: float
    loglik: float


@dataclass(frozen=True)
class OneParameter:
    """P(right) = expit(slope (z - b)), z ~ N(0, 1). b is None where all n answers of an item are alike."""

    b: tuple[float | None, ...]
    n: tuple[int, ...]
    slope: float
    loglik: float


@dataclass(frozen=True)
class Ability:
    """Posterior mean and sd of one person's ability in logits, from n answers; with none, the prior's."""

    mean: float
    sd: float
    n: int


def icc(theta: npt.ArrayLike, b: npt.ArrayLike, c: npt.ArrayLike = 0.0) -> Floats:
    """Chance of a right answer at ability theta: c + (1-c) expit(theta - b), any shapes that broadcast.

    >>> float(icc(.5, -.3, .125).round(4))
    0.7287
    """
    guess = amounts("c", c)
    if not bool(np.all(guess < 1)):
        raise ValueError("c must be under 1")
    return np.asarray(guess + (1 - guess) * special.expit(finite("theta", theta) - finite("b", b)))


def information(theta: npt.ArrayLike, b: npt.ArrayLike, c: npt.ArrayLike = 0.0) -> Floats:
    """Fisher information of one answer on theta: (1-P)/P ((P-c)/(1-c))^2 for slope 1 (Birnbaum's model).

    >>> float(information(.5, -.3, .125).round(4))
    0.1772
    """
    P, guess = icc(theta, b, c), amounts("c", c)
    return np.asarray((1 - P) / P * ((P - guess) / (1 - guess)) ** 2)


def rasch_map(X: Gappy, prior_mean: npt.ArrayLike, prior_sd: npt.ArrayLike, est_sd: bool = True) -> Calib:
    """Bayes-modal difficulties from answers X (persons x items of 1, 0 and gaps), b ~ N(prior_mean, prior_sd^2).

    Finite also for items that all or none got right, and for items without answers (the prior). Priors are numbers or
    one per item. est_sd: find the sd of abilities too, else it is 1.

    >>> calib = rasch_map([[1, 0], [1, 1], [1, 0], [1, 0]], prior_mean=-1.2, prior_sd=1.2)
    >>> bool(calib.b[0] < calib.b[1]), calib.n.tolist()
    (True, [4, 4])
    """
    answers = marks("X", X)
    mean = np.broadcast_to(finite("prior_mean", prior_mean), answers.shape[1:])
    sd = np.broadcast_to(amounts("prior_sd", prior_sd), answers.shape[1:])
    if not (answers.shape[1] and bool(np.all(sd > 0))):
        raise ValueError("X must have an item, and prior_sd must be positive")
    precision = sd**-2.0
    likelihood = _Likelihood(answers, np.ones(len(answers)))
    b, ability_sd = _mode(likelihood, mean, precision, None if est_sd else 1.0)
    observed, complete = likelihood.curvature(b, ability_sd)
    se = np.sqrt(np.diag(np.linalg.inv(observed + np.diag(precision))))
    loglik = likelihood.value_and_slope(b, ability_sd)[0]
    return Calib(b, se, 1 / np.sqrt(complete + precision), likelihood.n, ability_sd, loglik)


def mml(X: Gappy, weights: npt.ArrayLike | None = None, slope: float | None = None) -> OneParameter:
    """One-parameter logistic model by marginal maximum likelihood: all items share one slope.

    X: answers, one row a person, or one a pattern with `weights` persons each. slope: fixed, or found if None. Items
    whose answers are all alike have no finite difficulty: None, and they take no part.

    >>> fit = mml([[0, 0], [1, 0], [1, 1], [1, 0], [0, 1]], slope=1.0)
    >>> fit.b[0] < fit.b[1], mml([[1, 0], [1, 1]]).b[0] is None
    (True, True)
    """
    answers = marks("X", X)
    persons = np.ones(len(answers)) if weights is None else amounts("weights", weights)
    if persons.shape != (len(answers),):
        raise ValueError("weights must have one number for each row of X")
    counted = persons[:, None] * ~np.isnan(answers)
    n, right = counted.sum(axis=0), np.nansum(persons[:, None] * answers, axis=0)
    told = (right > 0) & (right < n)
    likelihood = _Likelihood(answers[:, told], persons)
    b, sd = _mode(
        likelihood, np.zeros(told.sum()), np.zeros(told.sum()), None if slope is None else positive("slope", slope)
    )
    found = iter((b / sd).tolist())
    loglik = likelihood.value_and_slope(b, sd)[0]
    return OneParameter(
        tuple(next(found) if is_told else None for is_told in told), tuple(n.astype(int).tolist()), sd, loglik
    )


@dataclass(frozen=True, eq=False)
class _Likelihood:
    """The likelihood of answers (rows x items, nan for gaps) with abilities summed out; each row counts `persons`."""

    answers: Floats
    persons: Floats

    @property
    def n(self) -> npt.NDArray[np.int64]:
        """Answers per item."""
        return np.asarray((self.persons[:, None] * self._given).sum(axis=0).round().astype(np.int64))

    @property
    def _given(self) -> npt.NDArray[np.bool_]:
        return ~np.isnan(self.answers)

    def _posterior(self, b: Floats, sd: float) -> tuple[Floats, Floats, float]:
        """Chance right (grid x items), posterior of each row (rows x grid), log-likelihood of all."""
        logit = sd * SCORES[:, None] - b
        right, given = np.nan_to_num(self.answers), self._given.astype(float)
        joint = right @ logit.T + given @ special.log_expit(-logit).T + LOG_SHARES
        total = special.logsumexp(joint, axis=1, keepdims=True)
        return special.expit(logit), np.exp(joint - total), float(self.persons @ total[:, 0])

    def value_and_slope(self, b: Floats, sd: float) -> tuple[float, Floats, float]:
        """Log-likelihood, its slope in each b, its slope in log sd."""
        P, posterior, loglik = self._posterior(b, sd)
        weight = self.persons[:, None] * posterior
        at_score = weight.T @ self._given  # persons expected at each score, per item
        residual = weight.T @ np.nan_to_num(self.answers) - at_score * P
        return loglik, -residual.sum(axis=0), float((sd * SCORES) @ residual.sum(axis=1))

    def curvature(self, b: Floats, sd: float) -> tuple[Floats, Floats]:
        """Observed information in b (items x items), and per item what it would be with abilities known.

        Louis's identity: the complete information less the variance, over each person's ability, of its score.
        """
        P, posterior, _ = self._posterior(b, sd)
        complete = ((self.persons[:, None] * posterior).T @ self._given * P * (1 - P)).sum(axis=0)
        mean = posterior @ P * self._given
        lost = np.zeros((len(b), len(b)))
        for row, given, count in zip(posterior, self._given, self.persons, strict=True):
            scores = P * given
            lost += count * (scores.T * row) @ scores
        lost -= (mean.T * self.persons) @ mean
        return np.diag(complete) - lost, complete


def _mode(likelihood: _Likelihood, mean: Floats, precision: Floats, sd: float | None) -> tuple[Floats, float]:
    """Difficulties, and the sd of abilities unless given, at the greatest posterior density."""

    def loss(point: Floats) -> tuple[float, Floats]:
        b, log_sd = point[:-1], point[-1]
        value, slope, slope_sd = likelihood.value_and_slope(b, math.exp(log_sd))
        off = b - mean
        value -= float(precision @ off**2) / 2
        return -value, -np.append(slope - precision * off, slope_sd if sd is None else 0.0)

    start = np.append(mean, 0.0 if sd is None else math.log(sd))
    limits = [(-30.0, 30.0)] * len(mean) + [LOG_SD if sd is None else (start[-1], start[-1])]
    found = optimize.minimize(
        loss, start, jac=True, method="L-BFGS-B", bounds=limits, options={"ftol": 1e-14, "gtol": 1e-7}
    )
    return found.x[:-1], math.exp(found.x[-1])


def eap(x: Gappy, b: npt.ArrayLike, v: npt.ArrayLike, sd: float) -> Ability:
    """One person's ability (posterior mean and sd) from answers x to items of difficulty b with variance v.

    Prior N(0, sd^2); an item's curve is flattened by kappa = 1/sqrt(1 + pi v/8) for not knowing its difficulty.

    >>> able = eap([1, 1, None], [0., .5, 2.], 0., 1.)
    >>> round(able.mean, 2), able.n
    (0.78, 2)
    """
    answers = marks("x", x, dimensions=1)
    mean, spread = eap_all(answers[None], b, v, sd)
    return Ability(float(mean[0]), float(spread[0]), int(np.count_nonzero(~np.isnan(answers))))


def eap_all(X: Gappy, b: npt.ArrayLike, v: npt.ArrayLike, sd: float) -> tuple[Floats, Floats]:
    """`eap` for every row of X (persons x items): posterior means and sds.

    >>> [figures.round(2).tolist() for figures in eap_all([[1, 1], [None, 1]], [0., .5], 0., 1.)]
    [[0.78, 0.5], [0.84, 0.91]]
    """
    answers = marks("X", X)
    kappa = 1 / np.sqrt(1 + np.pi * amounts("v", v) / 8)
    theta = positive("sd", sd) * SCORES
    logit = np.broadcast_to(kappa * (theta[:, None] - finite("b", b)), (len(SCORES), answers.shape[1]))
    given = (~np.isnan(answers)).astype(float)
    joint = np.nan_to_num(answers) @ logit.T + given @ special.log_expit(-logit).T + LOG_SHARES
    posterior = special.softmax(joint, axis=1)
    mean = posterior @ theta
    return mean, np.sqrt(np.maximum(posterior @ theta**2 - mean**2, 0.0))
