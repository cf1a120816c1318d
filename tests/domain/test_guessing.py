"""What comes around a play tells nothing of it: how long its clip is, when it comes, and what came before.

Thousands of seeds are drawn, always the same ones. A bound that chance alone exceeds once in a thousand draws is kept
by all of them, so a change that gives something away is found, and nothing else is.
"""

from __future__ import annotations

import random
from collections import Counter
from itertools import pairwise

import pytest
from scipy import stats

from app.actions.quiz import tail_seed
from app.domain.clip import Clip
from app.domain.guard import TAIL, cut_of
from app.domain.quiz import Candidate, QuizPlan, drawn, order_of
from app.domain.rulecard import Ruling
from app.domain.timecode import Rate
from tests.domain.samples import clip

RATE = Rate(num=30)
SIDES = (Ruling.FLAG, Ruling.NO_FLAG)
RARE = 0.001
DECISIVE = 100
SEEDS = 3000


# ------------------------------------------------------------------------------------------- length


def play(name: str, side: Ruling, reveal: int) -> Clip:
    key = {"topic": "offside", "ruling": side.value, "decisive": DECISIVE}
    views = [{"recording": "line", "in": 30, "out": 210}]
    return Clip.model_validate(clip(id=name, views=views, reveal=reveal, keys=[key], hidden=[]))


def tails(side: Ruling, reveal: int) -> list[int]:
    """Frames after the decisive moment, of clips that are named as somebody who files by ruling would name them."""
    plays = [play(f"{side.name.lower().replace('_', '-')}-{n}", side, reveal) for n in range(SEEDS)]
    cuts = [cut_of(each, each.keys[0], RATE, tail_seed(each.id, "offside")) for each in plays]
    return [cut.span.first + cut.frames - DECISIVE - 1 for cut in cuts]


def test_the_lengths_of_either_side_come_from_one_distribution() -> None:
    """Flags are given away early, the other side hardly ever: and yet both are as long, and every length as likely."""
    flags, others = tails(Ruling.FLAG, DECISIVE + 8), tails(Ruling.NO_FLAG, 205)
    assert stats.ks_2samp(flags, others).pvalue > RARE
    least, most = (int(length * RATE.fraction) for length in TAIL)
    for found in (flags, others):
        counts = Counter(found)
        assert sorted(counts) == list(range(least, most + 1))
        assert stats.chisquare([counts[length] for length in range(least, most + 1)]).pvalue > RARE


def test_a_policy_that_lets_the_reveal_decide_the_length_would_be_found() -> None:
    """The same comparison on cuts without what they hold: it is not blind."""
    shown = []
    for side, reveal in ((Ruling.FLAG, DECISIVE + 8), (Ruling.NO_FLAG, 205)):
        plays = [play(f"a-{n}", side, reveal) for n in range(300)]
        shown.append([cut_of(each, each.keys[0], RATE, tail_seed(each.id, "offside")).span.end for each in plays])
    assert stats.ks_2samp(shown[0], shown[1]).pvalue < RARE


# ------------------------------------------------------------------------------------------- order and share


def asked(quiz: int, clips: int, sittings: int) -> list[list[Ruling]]:
    """The sides of a check in the order in which each of some officials is asked them, all by seeds of their own."""
    bank = [Candidate(topic, side, f"{topic}-{side.name}-{n}") for topic in ("offside", "goal") for side in SIDES
            for n in range(14)]  # fmt: skip
    plan = QuizPlan(id="p", title="P", topics=("offside", "goal"), clips=clips)
    [form] = drawn(plan, bank, quiz).forms
    chance = random.Random(f"{quiz}:{clips}")
    return [[form[k].side for k in order_of(clips, chance.getrandbits(31))] for _ in range(sittings)]


@pytest.fixture(scope="module", params=[12, 20])
def checks(request: pytest.FixtureRequest) -> list[list[Ruling]]:
    return [sides for quiz in range(50) for sides in asked(quiz, request.param, SEEDS // 50)]


def test_between_40_and_60_in_100_of_every_check_are_flags(checks: list[list[Ruling]]) -> None:
    shares = [sides.count(Ruling.FLAG) / len(sides) for sides in checks]
    assert 0.4 <= min(shares) <= max(shares) <= 0.6


def test_no_place_in_the_order_is_more_often_a_flag(checks: list[list[Ruling]]) -> None:
    """From the first look on, and so over the five that a phone can fetch ahead."""
    flags = [sum(sides[place] is Ruling.FLAG for sides in checks) for place in range(len(checks[0]))]
    assert stats.chi2_contingency([flags, [len(checks) - count for count in flags]]).pvalue > RARE
    early = sum(flags[:5]) / (5 * len(checks))
    assert 0.47 < early < 0.53


def test_the_look_before_tells_no_more_of_a_look_than_their_number_does(checks: list[list[Ruling]]) -> None:
    """Of twelve looks, six of either side, five of the other eleven are of the same side: so it is with neighbours."""
    same = sum(one is other for sides in checks for one, other in pairwise(sides))
    due = [sum(n * (n - 1) for n in Counter(sides).values()) / len(sides) for sides in checks]
    spread = (len(checks) * (len(checks[0]) - 1) / 4) ** 0.5
    assert abs(same - sum(due)) < 3.3 * spread
