"""One timed answer: whether its timing can be believed. The server owns the clock; the phone reports durations only.

All times are milliseconds. What a phone claims is its loading, playing and deciding together; the server knows when it
said "start" and when the answer came. OK and LATE count. UNVERIFIED and VOID never count, for or against, and another
clip of the same side is served: a bad line or a slow phone costs nothing, and shaving the clock gains nothing.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from statistics import median
from typing import Any, Literal, NamedTuple

from pydantic import Field

from app.domain.base import Value

TimingReason = Literal[
    "impossible", "more than elapsed", "slow to load", "cut short", "stalled", "frames dropped", "hidden", "early",
    "late", "unexplained time", "fast",
]  # fmt: skip
Cause = Literal["", "hidden", "reload", "slow", "network", "offline"]
"""What kept an answer from counting, as people are told it; "" where nothing did."""

VOID_MOST = 3
"""So many looks of a check may go unplayed."""
UNVERIFIED_MOST = 0.2
"""Share of the looks asked that may go untimed."""


class Timing(StrEnum):
    """What the timing of an answer is worth."""

    OK = "OK"
    LATE = "LATE"
    UNVERIFIED = "UNVERIFIED"
    VOID = "VOID"

    @property
    def counts(self) -> bool:
        """Whether the answer is scored at all; a late one is scored as no decision in time."""
        return self in (Timing.OK, Timing.LATE)


class TimingPolicy(Value):
    """How much is allowed, in ms unless said otherwise.

    deadline: time to decide after the last frame, and `input_grace` for the touchscreen. net_slack: time that nothing
    explains, beside the shortest round trip and `proc` for the server's own work. The phone's clock may drift by
    drift_ppm (parts per million) and `clock_grace`. Playing may fall short by play_short and take stall_max too long;
    dropped_max is a share of the frames. Under human_min an answer is called fast; early_ok: answers before the last
    frame are welcome.
    """

    deadline: int = Field(default=5000, gt=0)
    input_grace: int = Field(default=150, ge=0)
    net_slack: int = Field(default=1500, ge=0)
    drift_ppm: int = Field(default=200, ge=0)
    clock_grace: int = Field(default=20, ge=0)
    proc: int = Field(default=60, ge=0)
    load_max: int = Field(default=8000, ge=0)
    play_short: int = Field(default=100, ge=0)
    stall_max: int = Field(default=250, ge=0)
    dropped_max: float = Field(default=0.2, ge=0, le=1)
    human_min: int = Field(default=150, ge=0)
    early_ok: bool = True


def deadline_ms(seconds: int, extra_time: int) -> int:
    """Milliseconds to decide, for somebody who has been given so many percent of extra time."""
    return seconds * 10 * (100 + extra_time)


class TimingVerdict(NamedTuple):
    """The verdict, and everything remarkable about the timing, what decides first."""

    verdict: Timing
    reasons: tuple[TimingReason, ...]


def judge(
    policy: TimingPolicy | Mapping[str, Any],
    start: float,
    recv: float,
    rtt_min: float,
    clip: float,
    load: float,
    play: float,
    decide: float,
    hidden: bool = False,
    frames_dropped: float = 0.0,
) -> TimingVerdict:
    """What the timing of one answer is worth: VOID before LATE before UNVERIFIED before OK.

    start, recv: server's clock. rtt_min: shortest round trip measured. clip: its length. The phone's own durations:
    load (start received to first frame), play (first to last frame), decide (last frame to touch; negative before it,
    with play then the whole clip). hidden: the page was out of sight. frames_dropped: share of the frames. A number
    that is none, or that no playing could give, is VOID and no error: it comes from outside.
    """
    rules = TimingPolicy.model_validate(policy)
    times = (start, recv, rtt_min, clip, load, play, decide, frames_dropped)
    if not all(map(math.isfinite, times)) or load < 0 or play < 0 or decide < -play:
        return TimingVerdict(Timing.VOID, ("impossible",))
    elapsed, claimed = recv - start, load + play + decide
    void = (*_clock(rules, elapsed, claimed), *_playing(rules, clip, load, play, decide, hidden, frames_dropped))
    late: tuple[TimingReason, ...] = ("late",) if decide > rules.deadline + rules.input_grace else ()
    unexplained = elapsed - claimed - rtt_min - rules.proc
    unverified: tuple[TimingReason, ...] = ("unexplained time",) if unexplained > rules.net_slack else ()
    fast: tuple[TimingReason, ...] = ("fast",) if decide < rules.human_min else ()
    verdict = Timing.VOID if void else Timing.LATE if late else Timing.UNVERIFIED if unverified else Timing.OK
    return TimingVerdict(verdict, (*void, *late, *unverified, *fast))


def _clock(rules: TimingPolicy, elapsed: float, claimed: float) -> Iterator[TimingReason]:
    if claimed > elapsed * (1 + rules.drift_ppm / 1e6) + rules.clock_grace:
        yield "more than elapsed"


def _playing(
    rules: TimingPolicy, clip: float, load: float, play: float, decide: float, hidden: bool, dropped: float
) -> Iterator[TimingReason]:
    if load > rules.load_max:
        yield "slow to load"
    if play < clip - rules.play_short:
        yield "cut short"
    if play > clip + rules.stall_max:
        yield "stalled"
    if dropped > rules.dropped_max:
        yield "frames dropped"
    if hidden:
        yield "hidden"
    if decide < 0 and not rules.early_ok:
        yield "early"


def cause_of(verdict: TimingVerdict) -> Cause:
    """What kept an answer from counting. A page out of sight comes first: it drops frames and stalls besides."""
    if verdict.verdict is Timing.UNVERIFIED:
        return "network"
    if verdict.verdict is Timing.VOID:
        return "hidden" if "hidden" in verdict.reasons else "slow"
    return ""


def attempt_holds(asked: int, void: int, unverified: int) -> bool:
    """Whether a check of so many looks is a fair sample: few of them went unplayed (void), and few untimed.

    It is no reproach: a bad line does it. But whoever could have as many clips replaced as they like would choose them.
    """
    return void <= VOID_MOST and unverified <= UNVERIFIED_MOST * asked


def quiz_residual(elapsed: Sequence[float], claimed: Sequence[float], rtt_min: float) -> float | None:
    """Time in ms that a whole quiz leaves unexplained: the median of elapsed less claimed, less the shortest trip.

    One answer may be held up by the line; a phone that shaves time off every answer moves the median. None without
    answers.
    """
    rest = [all_told - told for all_told, told in zip(elapsed, claimed, strict=True)]
    return median(rest) - rtt_min if rest else None


def sign(secret: bytes, payload: Mapping[str, Any]) -> str:
    """A token that carries the payload and cannot be altered: base64url of its JSON, a dot, HMAC-SHA256 of that.

    The JSON is compact with its keys in order, so that equal payloads give equal tokens.
    """
    body = _base64url(json.dumps(payload, sort_keys=True, separators=(",", ":")).encode())
    return f"{body}.{_base64url(_mac(secret, body))}"


def verify(secret: bytes, token: str) -> dict[str, Any] | None:
    """The payload of a token that this secret signed; None for any other text."""
    body, _, mac = token.partition(".")
    if not hmac.compare_digest(_base64url(_mac(secret, body)).encode(), mac.encode("utf-8", "replace")):
        return None
    try:
        payload = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    except (binascii.Error, ValueError):
        return None
    return payload if isinstance(payload, dict) else None


def _mac(secret: bytes, body: str) -> bytes:
    return hmac.new(secret, body.encode("utf-8", "replace"), hashlib.sha256).digest()


def _base64url(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()
