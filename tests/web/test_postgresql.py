"""A league whose data is in PostgreSQL: from the first invite to readiness, over HTTP."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import Session

from app.actions.people import first_invite
from app.domain.clearance import ClearancePolicy
from app.domain.people import Role
from app.store.content import save_policy
from app.store.jobs import Order, add_job
from app.store.people import Person, add_person, list_people
from app.store.quizzes import Quiz
from tests.plays import PLAN, add_plays, digest, publish
from tests.postgres import Server
from tests.web.league import PEOPLE, Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started, taken

LIST = "Name,Crew,Position,E-mail\nTómas Berrin,Ferry,Assistant,tomas@example.org\nNoor Adami,Saltpan,Referee,\n"
POLICY = ClearancePolicy(id="offside", title="Offside", topics=("offside",))


@pytest.fixture
def served(tmp_path: Path, postgresql: Server) -> Iterator[League]:
    with postgresql.league() as url, league(tmp_path, database_url=url) as made:
        for each in made.database.change(add_plays):
            path = made.app.state.library.cut(digest(f"cut {each.id}"))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(bytes(5000))
        yield made


@pytest.fixture
def supervisor(served: League) -> Browser:
    return served.browser("supervisor")


def post(browser: Browser, path: str, **typed: str) -> int:
    return browser.post(path, data={"form_token": browser.form_key, **typed}).status_code


def names(served: League) -> list[str]:
    with served.database.read() as session:
        return [person.name for person in list_people(session)]


def test_nothing_is_kept_in_a_file(served: League, tmp_path: Path) -> None:
    assert not served.database.is_sqlite
    assert not (tmp_path / "league.db").exists()
    assert served.browser().get("/healthz").json()["status"] == "ok"


def test_an_invite_lets_somebody_in_who_then_comes_back_with_a_password(served: League) -> None:
    secret = first_invite(served.database, datetime.now(UTC))
    browser, password = served.browser(), "marram grass 7"
    assert browser.post(f"/invite/{secret}", data={"password": password}).status_code == 303
    assert browser.get("/").status_code in (200, 303)
    mail = f"  {PEOPLE['supervisor'].email}".upper()
    again = served.browser()
    assert again.post("/sign-in", data={"email": mail, "password": "marram grass 8"}).status_code == 422
    assert again.post("/sign-in", data={"email": mail, "password": password}).status_code == 303
    assert "Orla Tamsin" in again.get("/me").text


def test_a_list_of_people_comes_in_once(served: League, supervisor: Browser) -> None:
    for _ in range(2):
        fields, files = {"form_token": supervisor.form_key}, {"file": ("people.csv", LIST.encode(), "text/csv")}
        page = supervisor.post("/people/import/preview", data=fields, files=files).text
        form = page[page.index('action="/people/import"') :]
        hidden = re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form)
        supervisor.post("/people/import", data={name: html.unescape(value) for name, value in hidden})
    assert [name for name in names(served) if name in LIST] == ["Noor Adami", "Tómas Berrin"]
    assert len(names(served)) == len(PEOPLE) + 2


def test_a_check_is_taken_by_phone_and_counts_towards_readiness(served: League, supervisor: Browser) -> None:
    served.database.change(save_policy, POLICY)
    phone = served.browser("official")
    quiz: Quiz = served.database.change(publish, PLAN.model_copy(update={"clips": 2}), cut=SHORT)
    assert "One thing is due." in phone.get("/due").text
    assert "not started" in words(supervisor.get("/readiness/people/sil").text).lower()
    sitting = started(phone, quiz)
    taken(phone, sitting)
    result = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "1 of 2 right." in result
    assert "two looks" in words(supervisor.get("/readiness").text)
    assert "not started" not in words(supervisor.get("/readiness/people/sil").text).lower()


def test_a_look_is_decided_once_and_its_clip_comes_in_ranges(served: League) -> None:
    phone = served.browser("official")
    sitting = started(phone, served.database.change(publish, cut=SHORT))
    look = ahead(phone, sitting)["looks"][0]
    assert phone.get(look["clip"], headers={"range": "bytes=0-9"}).content == bytes(10)
    nonce, path = opened(phone, sitting, look["n"]), f"/looks/{look['n']}/answer"
    assert sent(phone, sitting, path, decision(nonce, idempotency="\0")).status_code == 400
    first, again = (sent(phone, sitting, path, decision(nonce, idempotency="one")) for _ in range(2))
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json() == again.json()
    assert sent(phone, sitting, path, decision(nonce, idempotency="two")).status_code == 409


def test_everybodys_first_page_opens(served: League) -> None:
    for who in PEOPLE:
        browser = served.browser(who)
        page = browser.get("/")
        while page.status_code == 303:
            page = browser.get(page.headers["location"])
        assert page.status_code == 200, who


def test_lists_are_in_the_order_of_sqlite(served: League, supervisor: Browser) -> None:
    def joined(session: Session) -> None:
        for name in ("Östen Oa", "adam Oa", "Zoë Oa"):
            add_person(session, Person(f"p-{name[0]}", name, Role.OFFICIAL), datetime.now(UTC))

    served.database.change(joined)
    page = supervisor.get("/people").text
    places = [page.index(name) for name in ("Zoë Oa", "adam Oa", "Östen Oa")]
    assert places == sorted(places)


def test_nul_is_left_out_of_what_is_typed(served: League, supervisor: Browser) -> None:
    assert post(supervisor, "/people", name="Ann\0e Oster", role="official") == 303
    assert "Anne Oster" in names(served)


def test_nul_in_an_address_is_no_fault_of_the_server(supervisor: Browser) -> None:
    paths = ("/people/%00", "/lessons/%00", "/clips?topic=%00", "/jobs?x=%00")
    assert [supervisor.get(path).status_code for path in paths] == [404, 404, 200, 200]


def test_jobs_are_listed(served: League, supervisor: Browser) -> None:
    served.database.change(add_job, "j1", Order("prepare", "k", {}, "Preparing high.mp4"), "orla", datetime.now(UTC))
    assert "Preparing high.mp4" in supervisor.get("/jobs").text
