"""A check on a phone with a bad network: nothing is lost, nothing plays by itself, and what is said is true."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlmodel import select

from app.actions.job import Work
from app.actions.quiz import make_cuts
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.answer import TimingPolicy, judge
from app.domain.quiz import SPARES
from app.store.quizzes import Quiz
from app.store.sittings import Answer, Look, list_answers, list_looks, list_reasons, list_sittings
from app.store.tables import AnswerRow
from tests.adapters import video
from tests.adapters.video import Film
from tests.browser.stage import Seat, phone
from tests.browser.taking import begin, called, explained, is_over, shown
from tests.plays import FRAMES, HOUSE, PLAN, add_plays, publish
from tests.web.league import PEOPLE, league
from tests.web.serving import Served, serving

pytestmark = pytest.mark.media

LOOKS, LONG_AWAY, RELOADED = 12, 8, 10
LONG = PLAN.model_copy(update={"clips": LOOKS, "seconds": 4})
SHORT = PLAN.model_copy(update={"clips": 4, "seconds": 4, "crews": ("harbour",)})
SLOW_4G = {"latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 90_000}
"""Milliseconds, bytes a second."""


@contextmanager
def of(data: Any, *plans: Any) -> Iterator[tuple[Served, list[Quiz]]]:
    """A league with these quizzes, whose clips are cut."""
    library = Library(data)
    prepared = prepare(video.filmed(data / "line.mp4", Film(frames=FRAMES, rate="30", sounds=())), HOUSE, library)
    with league(data) as made:
        made.database.change(add_plays, 24, prepared=prepared)
        quizzes = [made.database.change(publish, plan, cut=0) for plan in plans]
        for quiz in quizzes:
            make_cuts(Work(made.database, library, {"quiz": quiz.id}, lambda *_: None, lambda: datetime.now(UTC)))
    with serving(data) as served:
        yield served, quizzes


@pytest.fixture
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with of(tmp_path_factory.mktemp("league"), LONG) as (running, _):
        yield running


@pytest.fixture
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with of(tmp_path_factory.mktemp("league"), SHORT) as (running, _):
        yield running


def answers(served: Served, who: str) -> list[Answer]:
    """What was stored of each look, by its number."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        return sorted(list_answers(session, sitting_id=sitting.id), key=lambda each: each.n)


def explained_looks(served: Served, who: str) -> set[int]:
    """Which looks have their reason."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        return set(list_reasons(session, sitting.id))


class Line:
    """The network of a page: slow, or away."""

    def __init__(self, page: Page) -> None:
        self._session = page.context.new_cdp_session(page)
        self._session.send("Network.enable")
        self.mend()

    def cut(self) -> None:
        self._session.send("Network.emulateNetworkConditions", {**SLOW_4G, "offline": True})

    def mend(self) -> None:
        self._session.send("Network.emulateNetworkConditions", {**SLOW_4G, "offline": False})


def told(page: Page) -> str:
    """What is said of the look before."""
    return page.locator("[data-part=told]").inner_text()


def test_a_check_of_twelve_through_cuts_a_reload_and_a_killed_tab(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 390, 844)
    line = Line(seat.page)
    begin(seat, served)
    calls: list[str] = []
    for n in range(2 * LOOKS):
        if is_over(seat.page):
            break
        calls.append("flag" if n % 2 else "no flag")
        if n in (1, 4, 8):
            cut_while_it_plays(seat, line, calls[-1], 2000 if n == LONG_AWAY else 0)
            continue
        if n == 6:
            seat = killed(browser, seat, line, calls[-1])
            line = Line(seat.page)
            continue
        shown(seat)
        if n == RELOADED:
            seat.page.reload()
            shown(seat)
        called(seat.page, calls[-1])
        explained(seat)
    stored = answers(served, "official")
    assert [each.n for each in stored] == list(range(len(stored)))
    assert [each.decision for each in stored] == calls
    assert {each.n: each.verdict for each in stored} == due_verdicts(served, "official")
    assert not stored[LONG_AWAY].counts  # nobody can time what came so late
    assert {each.cause for each in stored if each.verdict == "UNVERIFIED"} <= {"network"}
    assert {each.n for each in stored if each.verdict == "OK"} == explained_looks(served, "official")
    assert sum(each.counts for each in stored) == LOOKS - unreplaced(served, "official")
    expect(seat.page.locator(".looks > li")).to_have_count(len(stored))


def due_verdicts(served: Served, who: str) -> dict[int, str]:
    """Look -> what its timing must be worth: by what the phone claimed, and the server's clock from start to answer."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        looks = {look.n: look for look in list_looks(session, sitting.id)}
        rows = session.exec(select(AnswerRow).where(AnswerRow.sitting_id == sitting.id))
        return {row.n: _due(row, looks[row.n]) for row in rows}


def _due(row: AnswerRow, look: Look) -> str:
    assert look.served_at is not None
    policy, told = TimingPolicy(deadline=LONG.seconds * 1000), row.claimed
    elapsed = round((row.received_at - look.served_at).total_seconds() * 1000)
    clip = round(HOUSE.rate.seconds(look.cut_frames) * 1000)
    if row.n == RELOADED:
        return "OK" if elapsed <= clip + policy.deadline + policy.input_grace else "VOID"
    times = {name: told[name] for name in ("load", "play", "decide", "hidden")}
    return judge(policy, 0, elapsed, told["rtt"], clip, **times, frames_dropped=told["dropped"]).verdict.value


def unreplaced(served: Served, who: str) -> int:
    """Looks that did not count and that no clip of their side was left for: a busy machine drops frames besides."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        void = Counter(look.side for look in list_looks(session, sitting.id) if look.state == "void")
    return sum(max(0, count - SPARES) for count in void.values())


def cut_while_it_plays(seat: Seat, line: Line, call: str, away_ms: int) -> None:
    """Call a look after the network has gone: it is taken at once and sent later, nothing plays meanwhile."""
    page = seat.page
    shown(seat)
    line.cut()
    page.locator(f'[data-decision="{call}"]').tap()
    expect(page.locator("[data-part=told]")).to_have_text("Taken. It is sent when the network is back.")
    expect(page.locator("[data-part=network]")).to_be_visible()
    assert page.locator("video[data-show]").evaluate("video => video.paused")
    page.wait_for_timeout(away_ms)
    line.mend()
    page.locator("[data-part=alone]").wait_for(state="hidden")
    page.locator('one-look[data-view="why"], [data-part=open]:enabled').first.wait_for()
    explained(seat)


def killed(browser: Browser, seat: Seat, line: Line, call: str) -> Seat:
    """The tab is gone just as a call was written down; another one goes on with what the browser has kept."""
    page = seat.page
    shown(seat)
    line.cut()
    page.locator(f'[data-decision="{call}"]').tap()
    expect(page.locator("[data-part=told]")).to_be_visible()
    kept, where = page.context.storage_state(indexed_db=True), page.url
    page.context.close()
    context = browser.new_context(storage_state=kept, viewport={"width": 390, "height": 844}, has_touch=True)
    again = Seat(context.new_page())
    again.page.goto(where)
    again.page.locator('one-look[data-view="why"], [data-part=open]:enabled').first.wait_for()
    explained(again)
    return again


def test_offline_to_the_end_it_is_practice_and_is_sent_later(browser: Browser, small: Served) -> None:
    """All clips are here when the network goes: the phone shows each by itself; all are kept, sent, replaced."""
    seat = phone(browser, small, "other official", 390, 844)
    page, line, calls = seat.page, Line(seat.page), ["flag", "no flag", "flag", "no flag"]
    fetched: list[str] = []
    page.on("requestfinished", lambda request: fetched.append(request.url) if "/looks/" in request.url else None)
    begin(seat, small)
    while len(fetched) < len(calls):
        page.wait_for_timeout(50)
    line.cut()
    page.locator("[data-part=open]:enabled").tap()
    for call in calls:
        expect(page.locator("[data-part=open]:enabled")).to_have_text("Go on as practice")
        shown(seat)
        page.locator(f'[data-decision="{call}"]').tap()
        page.locator("[data-part=told]:visible").wait_for()
        assert "practice" in told(page)
    expect(page.locator("[data-part=fetching]")).to_have_text("Waiting for the network …")
    assert answers(small, "other official") == []
    line.mend()
    expect(page.locator("[data-part=open]:enabled")).to_have_text("Show it")
    kept = [(each.n, each.decision, each.verdict, each.cause) for each in answers(small, "other official")]
    assert kept == [(n, call, "UNVERIFIED", "offline") for n, call in enumerate(calls)]
    for _ in range(3 * len(calls)):
        if is_over(page):
            break
        shown(seat)
        called(page, "flag")
        explained(seat)
    assert "practice, does not count" in page.locator(".looks").inner_text()
    assert "counts for nothing. Nothing is held against you" in page.locator("main").inner_text()
