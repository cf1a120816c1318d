"""What goes wrong with a question: its key, its time, its secrecy."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from app.measure.arguments import Floats, Gappy, amounts, finite, inside, marks, positive

GRID, MASS = np.polynomial.hermite_e.hermegauss(41)
LOG_MASS = np.log(MASS / MASS.sum())


def miskey_logbf(x: Gappy, eap: npt.ArrayLike, psd: npt.ArrayLike, mu_b: float, sd_b: float) -> float:
    """Log Bayes factor for "the key is the wrong way round" against "the key is right"; over 0 speaks for wrong.

    ln INT prod P^(1-x) (1-P)^x p(b) db - ln INT prod P^x (1-P)^(1-x) p(b) db, b ~ N(mu_b, sd_b^2), x the marks of
    persons with ability eap and its sd psd, P = expit((eap - b)/sqrt(1 + pi psd^2/8)). Swapping right and wrong turns
    the sign; without answers it is 0. Hardness alone does not raise it much: the able must be the ones who are wrong.

    >>> round(miskey_logbf([0, 0, 1], [1.2, .8, -.9], .5, -1.2, 1.2), 3)
    3.281
    """
    x = marks("x", x, dimensions=1)
    given = ~np.isnan(x)
    able = np.broadcast_to(finite("eap", eap), x.shape)[given]
    spread = np.broadcast_to(amounts("psd", psd), x.shape)[given]
    b = float(finite("mu_b", mu_b)) + positive("sd_b", sd_b) * GRID
    logit = (able[:, None] - b) / np.sqrt(1 + np.pi * spread[:, None] ** 2 / 8)
    sign = np.where(x[given] == 1, 1.0, -1.0)[:, None]
    flipped, kept = (special.log_expit(way * sign * logit).sum(axis=0) + LOG_MASS for way in (-1, 1))
    return float(special.logsumexp(flipped) - special.logsumexp(kept))


@dataclass(frozen=True)
class Speed:
    """ln T = beta of the item - tau of the person + error of sd sigma, from n times; the mean tau is 0.

    None for an item or a person without a time, and for sigma where every time is used up by the fit.
    """

    beta: tuple[float | None, ...]
    tau: tuple[float | None, ...]
    sigma: float | None
    n: int


def speed_fit(logT: Gappy) -> Speed:
    """How long each item takes and how fast each person is, from log times (persons x items, nan for gaps).

    Least squares for the lognormal model of answering times (van der Linden 2006). Leave late answers out: a deadline
    cuts times off, so report the share in time beside it.

    >>> fit = speed_fit([[0., 1.], [1., 2.], [2., None]])
    >>> [round(b, 3) for b in fit.beta], [round(t, 3) for t in fit.tau]
    ([1.0, 2.0], [1.0, 0.0, -1.0])
    """
    times = np.asarray(logT, dtype=np.float64)
    if times.ndim != 2 or bool(np.any(np.isinf(times))):
        raise ValueError("logT must be persons x items, finite or nan")
    given = ~np.isnan(times)
    per_person, per_item = given.sum(axis=1), given.sum(axis=0)
    share = given / np.maximum(per_person, 1)[:, None]
    filled = np.nan_to_num(times)
    # Persons are eliminated; what is left has one free constant, which the pseudo-inverse sets and the mean tau fixes.
    left = np.diag(per_item.astype(float)) - given.T.astype(float) @ share
    beta = np.linalg.pinv(left, hermitian=True) @ (filled.sum(axis=0) - share.T @ filled.sum(axis=1))
    tau = (share * (beta - filled)).sum(axis=1)
    shift = float(tau[per_person > 0].mean()) if given.any() else 0.0
    beta, tau = beta - shift, tau - shift
    rest = np.where(given, filled - beta + tau[:, None], 0.0)
    free = int(given.sum()) - int((per_person > 0).sum()) - int(np.linalg.matrix_rank(left, hermitian=True))
    sigma = math.sqrt(float((rest**2).sum()) / free) if free > 0 else None
    return Speed(_where_any(beta, per_item), _where_any(tau, per_person), sigma, int(given.sum()))


def _where_any(values: Floats, counts: npt.NDArray[np.int_]) -> tuple[float | None, ...]:
    return tuple(float(value) if count else None for value, count in zip(values, counts, strict=True))


@dataclass(frozen=True)
class LeakCusum:
    """A running sum that rises while a question is answered as if people knew it already: S = max(0, S + LLR).

    A fold over answers in order of time. known: share of the gap to certainty that a leak closes; faster: drop in
    ln T; sd: its spread; h: where to raise the alarm.
    """

    s: float = 0.0
    n: int = 0
    h: float = 5.0
    known: float = 0.45
    faster: float = 0.15
    sd: float = 0.43

    def after(self, correct: bool, p: float, log_time_off: float | None = None) -> LeakCusum:
        """One more answer by someone with chance p of getting it right unaided (strictly between 0 and 1).

        log_time_off: ln T less what the item and the person would lead one to expect; None if there is no time.

        >>> LeakCusum().after(True, .6, -.3).after(False, .6).s
        0.0
        """
        leaked = inside("p", p) + (1 - p) * self.known
        llr = math.log(leaked / p) if correct else math.log((1 - leaked) / (1 - p))
        if log_time_off is not None:
            off = float(finite("log_time_off", log_time_off))
            llr += (off**2 - (off + self.faster) ** 2) / (2 * self.sd**2)
        return LeakCusum(max(0.0, self.s + llr), self.n + 1, self.h, self.known, self.faster, self.sd)

    @property
    def alarm(self) -> bool:
        """Whether the sum has reached h."""
        return self.s >= self.h
