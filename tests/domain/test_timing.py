"""The timing of an answer: the twelve vectors shared with the browser, the grounds one by one, the signed token."""

from __future__ import annotations

import base64
import hmac
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.answer import Timing, TimingPolicy, judge, quiz_residual, sign, verify
from tests.simulate.timing import VECTORS, misjudged

POLICY = TimingPolicy(**VECTORS["policy"])
SECRET = b"k" * 32

ORDINARY: dict[str, Any] = {
    "start": 0, "recv": 10120, "rtt_min": 60, "clip": 7000, "load": 300, "play": 7010, "decide": 2700,
    "hidden": False, "frames_dropped": 0.0,
}  # fmt: skip


def test_the_shared_vectors() -> None:
    assert len(VECTORS["cases"]) == 12
    assert misjudged() == []


def test_the_policy_of_the_vectors_is_the_default() -> None:
    assert TimingPolicy() == POLICY


def test_a_policy_may_come_as_it_was_stored() -> None:
    assert judge(POLICY.model_dump(), **ORDINARY) == judge(POLICY, **ORDINARY) == (Timing.OK, ())


@pytest.mark.parametrize(
    ("change", "verdict", "reason"),
    [
        ({"load": 8001, "recv": 17900}, Timing.VOID, "slow to load"),
        ({"play": 6899}, Timing.VOID, "cut short"),
        ({"play": 7251, "recv": 10300}, Timing.VOID, "stalled"),
        ({"hidden": True}, Timing.VOID, "hidden"),
        ({"frames_dropped": 0.21}, Timing.VOID, "frames dropped"),
        ({"recv": 9987}, Timing.VOID, "more than elapsed"),
        ({"decide": 5151, "recv": 12600}, Timing.LATE, "late"),
        ({"recv": 11631}, Timing.UNVERIFIED, "unexplained time"),
        ({"decide": 149, "recv": 7500}, Timing.OK, "fast"),
        ({"decide": -7000, "recv": 400}, Timing.OK, "fast"),
    ],
)
def test_each_ground_just_over_its_limit(change: dict[str, Any], verdict: Timing, reason: str) -> None:
    assert judge(POLICY, **(ORDINARY | change)) == (verdict, (reason,))


@pytest.mark.parametrize(
    "change",
    [
        {"load": 8000, "recv": 17770},
        {"play": 6900},
        {"play": 7250, "recv": 10300},
        {"frames_dropped": 0.2},
        {"recv": 9989},
        {"decide": 5150, "recv": 12500},
        {"recv": 11630},
        {"decide": 150, "recv": 7500},
    ],
)
def test_each_limit_itself_is_allowed(change: dict[str, Any]) -> None:
    assert judge(POLICY, **(ORDINARY | change)) == (Timing.OK, ())


def test_an_answer_before_the_end_is_void_only_where_it_is_not_welcome() -> None:
    early = ORDINARY | {"play": 7000, "decide": -400, "recv": 7000}
    assert judge(POLICY, **early) == (Timing.OK, ("fast",))
    strict = POLICY.model_copy(update={"early_ok": False})
    assert judge(strict, **early) == (Timing.VOID, ("early", "fast"))


def test_void_comes_before_late_and_late_before_unverified() -> None:
    slow = ORDINARY | {"decide": 6000, "recv": 60000}
    assert judge(POLICY, **slow) == (Timing.LATE, ("late", "unexplained time"))
    assert judge(POLICY, **(slow | {"hidden": True})).verdict is Timing.VOID


@pytest.mark.parametrize("name", ["start", "recv", "rtt_min", "clip", "load", "play", "decide", "frames_dropped"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_void(name: str, value: float) -> None:
    assert judge(POLICY, **(ORDINARY | {name: value})) == (Timing.VOID, ("impossible",))


@pytest.mark.parametrize("change", [{"load": -1}, {"play": -1}, {"decide": -7011}])
def test_what_no_playing_could_give_is_void(change: dict[str, Any]) -> None:
    assert judge(POLICY, **(ORDINARY | change)) == (Timing.VOID, ("impossible",))


spans = st.floats(0, 60_000)


@given(load=spans, play=spans, decide=st.floats(-10_000, 60_000), recv=st.floats(0, 200_000))
def test_what_is_ok_was_decided_in_time_but_for_the_slack(load: float, play: float, decide: float, recv: float) -> None:
    verdict, _ = judge(POLICY, start=0, recv=recv, rtt_min=60, clip=7000, load=load, play=play, decide=decide)
    most = POLICY.deadline + POLICY.input_grace + POLICY.net_slack + 60 + POLICY.proc
    assert verdict is not Timing.OK or recv - load - play <= most


@given(st.fixed_dictionaries({name: st.floats() for name in ORDINARY if name != "hidden"}), st.booleans())
def test_whatever_a_phone_sends_there_is_a_verdict_with_its_ground(times: dict[str, float], hidden: bool) -> None:
    verdict, reasons = judge(POLICY, **times, hidden=hidden)
    assert verdict is Timing.OK or reasons
    assert verdict.counts == (verdict in ("OK", "LATE"))


def test_the_residual_of_a_quiz_is_a_median_and_needs_an_answer() -> None:
    assert quiz_residual([10120, 9100, 30000], [10010, 9000, 9000], 60) == 50
    assert quiz_residual([], [], 60) is None


def test_the_reference_token() -> None:
    token = "eyJhIjoxNywiaSI6MywibiI6InExIiwieCI6MTAwMH0.nOfBwTvrzEhecMpIZYzUCforL9xTREv4zaNJbXHKf88"
    assert sign(SECRET, {"x": 1000, "n": "q1", "i": 3, "a": 17}) == token
    assert verify(SECRET, token) == {"a": 17, "i": 3, "n": "q1", "x": 1000}


@given(st.dictionaries(st.text(), st.one_of(st.integers(), st.text(), st.booleans(), st.none())), st.binary(min_size=1))
def test_what_was_signed_comes_back_and_only_with_the_same_secret(payload: dict[str, Any], secret: bytes) -> None:
    token = sign(secret, payload)
    assert verify(secret, token) == payload
    assert verify(secret + b"x", token) is None


@given(st.integers(0, 86), st.characters())
def test_a_token_with_one_character_changed_is_refused(place: int, character: str) -> None:
    token = sign(SECRET, {"a": 17, "i": 3, "n": "q1", "x": 1000})
    altered = token[:place] + character + token[place + 1 :]
    assert altered == token or verify(SECRET, altered) is None


@given(st.text())
def test_any_other_text_is_no_token(text: str) -> None:
    assert verify(SECRET, text) is None


@pytest.mark.parametrize("body", ["", "W10", "bnVsbA", "x", "eyJ"])
def test_a_body_that_holds_no_payload_is_refused_even_when_signed(body: str) -> None:
    mac = base64.urlsafe_b64encode(hmac.digest(SECRET, body.encode(), "sha256")).rstrip(b"=").decode()
    assert verify(SECRET, f"{body}.{mac}") is None
