"""Exact error rates and lengths of the two-stream test, by dynamic programming over counts: no simulation error.

A stream of answers that are alike is at (n, k): n answers, k right. What is kept is the chance of every k while the
stream is still open; at each n, the part over the pass bound and the part under the fail bound leave.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats, shares, whole
from app.measure.sequential.policy import HAIR, Policy


class Tables(NamedTuple):
    """n -> least count that passes; n -> greatest count that ends the test (at the last n: without a pass)."""

    pass_k: Mapping[int, int]
    fail_k: Mapping[int, int]


@dataclass(frozen=True)
class OC:
    """Operating characteristics at success rates pF on one side and pN on the other.

    pass_f, pass_n: chance that the stream passes. length_f, length_n: its mean length, were it alone. clear: both pass.
    undecided: neither failed nor cleared. with_filler, without_filler: mean number of answers in all, where one round
    asks one item of each side, with and without what is asked on a side already passed; length: the one that the
    policy counts.
    """

    pass_f: float
    pass_n: float
    length_f: float
    length_n: float
    clear: float
    undecided: float
    with_filler: float
    without_filler: float
    length: float


@dataclass(frozen=True, eq=False)
class _Course:
    """Per success rate (rows) and n from 0 (columns): chance to pass and fail at n, and to be open after it.

    `counts`: the chance of every k of a stream that is still open after the last n.
    """

    passed: Floats
    failed: Floats
    open: Floats
    counts: Floats


@lru_cache(maxsize=1024)
def stream_tables(policy: Policy) -> Tables:
    """The rule of one stream as counts: pass with pass_k[n] right or more, stop with fail_k[n] right or fewer.

    k right of n has the evidence k ln(p1/p0) + (n-k) ln((1-p1)/(1-p0)). At n_max every count is in one of the two.
    An n at which nobody can pass, or fail, is missing.

    >>> tables = stream_tables(Policy())
    >>> tables.pass_k[8], tables.fail_k[8], tables.pass_k[30], 7 in tables.pass_k
    (8, 4, 24, False)
    """
    bounds = {n: _bounds(policy, n) for n in range(1, policy.n_max + 1)}
    last = cut_at_end(policy, policy.n_max)
    bounds[policy.n_max] = (min(last, bounds[policy.n_max][0]), last - 1)
    pass_k = {n: least for n, (least, _) in bounds.items() if least <= n}
    fail_k = {n: most for n, (_, most) in bounds.items() if most >= 0}
    return Tables(MappingProxyType(pass_k), MappingProxyType(fail_k))


def _bounds(policy: Policy, n: int) -> tuple[int, int]:
    """The least count at B or over, the greatest at A or under; n + 1 and -1 where there is none."""
    span = policy.right - policy.wrong
    least = math.ceil((policy.B - HAIR - n * policy.wrong) / span)
    most = math.floor((policy.A + HAIR - n * policy.wrong) / span) if n >= policy.n_min_fail else -1
    return min(least, n + 1), max(most, -1)


@lru_cache(maxsize=4096)
def k_last_for_bank(policy: Policy, n_unseen: int) -> int | None:
    """The right answers needed where a bank of n_unseen items a side is used up without a decision.

    The least count whose evidence is not below nought and with which the exact chance of passing at p0 is at most
    alpha; None where no count does that: the bank is too small, or the bounds alone promise more than alpha.

    >>> [k_last_for_bank(Policy(), n) for n in (5, 10, 12, 15, 20, 24, 30, 40)]
    [None, 9, 11, 13, 17, 20, 24, 31]
    """
    whole("n_unseen", n_unseen, least=1)
    for k in range(_even_count(policy, n_unseen), n_unseen + 1):
        if _false_pass(policy, n_unseen)[k] <= policy.alpha:
            return k
    return None


def cut_at_end(policy: Policy, n: int) -> int:
    """The count that passes where the answers end at n: `k_last_for_bank`, or n + 1 where no count may pass.

    A policy whose bounds alone pass more than alpha at p0 cannot be mended by its last step: there it is the plain
    truncated test, which passes from even evidence on, and its operating characteristics say what it is worth.
    """
    k = k_last_for_bank(policy, n)
    if k is not None:
        return k
    return n + 1 if _false_pass(policy, n)[n + 1] <= policy.alpha else _even_count(policy, n)


def _even_count(policy: Policy, n: int) -> int:
    """The least count of n whose evidence is not below nought."""
    return max(0, math.ceil((-HAIR - n * policy.wrong) / (policy.right - policy.wrong)))


@lru_cache(maxsize=4096)
def _false_pass(policy: Policy, n: int) -> tuple[float, ...]:
    """The chance of passing at p0 if k right of n pass at the end, for each k from 0 to n + 1 (where none does)."""
    course = _course([_bounds(policy, m) for m in range(1, n + 1)], np.array([policy.p0]))
    from_k_on = np.cumsum(course.counts[0, ::-1])[::-1]
    return tuple((course.passed.sum() + np.append(from_k_on, 0.0)).tolist())


def _course(bounds: list[tuple[int, int]], p: Floats) -> _Course:
    """Follow streams of success rates p (one row each) through the (least to pass, most to stop) of n = 1, 2, ..."""
    size = len(bounds) + 1
    passed, failed, still = (np.zeros((len(p), size)) for _ in range(3))
    counts = np.zeros((len(p), size))
    counts[:, 0] = still[:, 0] = 1
    for n, (least, most) in enumerate(bounds, start=1):
        right = counts[:, :-1] * p[:, None]
        counts *= 1 - p[:, None]
        counts[:, 1:] += right
        passed[:, n], failed[:, n] = counts[:, least:].sum(1), counts[:, : most + 1].sum(1)
        counts[:, least:] = counts[:, : most + 1] = 0
        still[:, n] = counts.sum(1)
    return _Course(passed, failed, still, counts)


def _through(policy: Policy, p: npt.ArrayLike) -> _Course:
    """The course to n_max; what is open after that has run out of items undecided."""
    bounds = [_bounds(policy, n) for n in range(1, policy.n_max + 1)]
    least, most = bounds[-1]
    bounds[-1] = (min(least, cut_at_end(policy, policy.n_max)), most)
    return _course(bounds, np.atleast_1d(shares("p", p)))


def pass_curve(policy: Policy, p: npt.ArrayLike) -> Floats:
    """The exact chance that one stream passes at each success rate p: the curve to draw beside the policy.

    >>> pass_curve(Policy(), [.6, .8, .9]).round(4).tolist()
    [0.0454, 0.6174, 0.9568]
    """
    return np.asarray(_through(policy, p).passed.sum(axis=1))


def operating_characteristics(policy: Policy, pF: float, pN: float) -> OC:
    """Error rates and lengths at success rates pF and pN on the two sides, exactly.

    The test asks in rounds, one item of each side, until one side fails or both have passed or the items are out.

    >>> oc = operating_characteristics(Policy(), .9, .9)
    >>> round(oc.clear, 4), round(oc.with_filler, 2), round(oc.without_filler, 2)
    (0.9155, 30.53, 24.89)
    """
    course = _through(policy, [pF, pN])
    passed_f, passed_n = course.passed.cumsum(axis=1)
    up_f, up_n = 1 - course.failed.cumsum(axis=1)
    open_f, open_n = course.open[:, :-1]  # after the last column nothing is asked
    clear = float(passed_f[-1] * passed_n[-1])
    with_filler = float(2 * (up_f * up_n - passed_f * passed_n)[:-1].sum())
    without_filler = float((open_f * up_n[:-1] + open_n * up_f[:-1]).sum())
    return OC(
        pass_f=float(passed_f[-1]),
        pass_n=float(passed_n[-1]),
        length_f=float(open_f.sum()),
        length_n=float(open_n.sum()),
        clear=clear,
        undecided=max(0.0, float(up_f[-1] * up_n[-1]) - clear),
        with_filler=with_filler,
        without_filler=without_filler,
        length=with_filler if policy.filler == "pairs" else without_filler,
    )
