"""Readiness: what the coordinator reads of crews and people, what changes when somebody takes a check."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from app.domain.clearance import ClearancePolicy
from app.store.content import save_policy
from app.web.words import end_of, short_day
from tests.plays import add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, started, taken

POLICY = ClearancePolicy(id="offside", title="Offside", topics=("offside",))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        made.database.change(save_policy, POLICY)
        yield made


@pytest.fixture
def coordinator(served: League) -> Browser:
    return served.browser("coordinator")


def row_of(page: str, crew: str) -> str:
    """The words of a crew's row."""
    (row,) = [each for each in re.findall(r"<tr.*?</tr>", page, re.DOTALL) if crew in each]
    return " ".join(re.sub(r"<[^>]*>", " ", row).split())


def take_a_check(served: League) -> str:
    phone = served.browser("official")
    sitting = started(phone, served.database.change(publish, cut=SHORT))
    taken(phone, sitting)
    return sitting


def test_a_check_changes_the_row_of_the_crew_and_only_that(served: League, coordinator: Browser) -> None:
    before = coordinator.get("/readiness").text
    assert "not started" in row_of(before, "Ferry").lower()
    take_a_check(served)
    after = coordinator.get("/readiness").text
    assert "None of 2 cleared yet" in row_of(after, "Ferry")
    assert "four looks" in row_of(after, "Ferry")
    assert row_of(after, "Harbour") == row_of(before, "Harbour")


def test_crews_in_their_first_season_come_first(coordinator: Browser) -> None:
    page = coordinator.get("/readiness").text
    assert page.index("First season") < page.index("Ferry") < page.index("Other crews") < page.index("Harbour")


def test_down_to_the_person_and_the_check(served: League, coordinator: Browser) -> None:
    sitting = take_a_check(served)
    assert "/readiness/crews/ferry" in coordinator.get("/readiness").text
    assert "/readiness/people/sil" in coordinator.get("/readiness/crews/ferry").text
    person = coordinator.get("/readiness/people/sil").text
    assert "Offside: not yet" in words(person)
    assert "With a flag: 2 of 2 right" in words(person)
    assert "Without: 0 of 2 right" in words(person)
    assert f"/sittings/{sitting}/result" in person
    assert coordinator.get(f"/sittings/{sitting}/result").status_code == 200
    assert "No checks taken yet" in coordinator.get("/readiness/people/adaeze").text


def test_who_is_late_stands_beside_it_with_the_day(served: League, coordinator: Browser) -> None:
    assert "Late: nobody" in words(coordinator.get("/readiness").text)
    last = datetime.now().astimezone().date() - timedelta(days=2)
    served.database.change(publish, due=end_of(last))
    said = words(coordinator.get("/readiness").text)
    assert "Sil Marram , Ferry" in said
    assert f"Offside, one look, due {short_day(last)} " in said


def test_the_same_as_csv(served: League, coordinator: Browser) -> None:
    take_a_check(served)
    reply = coordinator.get("/readiness.csv")
    assert reply.headers["content-type"].startswith("text/csv")
    assert "attachment" in reply.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(reply.text.removeprefix("\ufeff"))))
    assert {(row["name"], row["crew"], row["state"], row["looks"]) for row in rows} == {
        ("Adaeze Kole", "Ferry", "not started", "0"),
        ("Sil Marram", "Ferry", "not yet", "4"),
        ("Bram Hale", "Harbour", "not started", "0"),
    }


def test_a_sign_off_needs_grounds_and_is_the_supervisors(served: League, coordinator: Browser) -> None:
    supervisor, where = served.browser("supervisor"), "/readiness/people/sil"
    assert "Sign off by name" not in coordinator.get(where).text
    form = {"form_token": supervisor.form_key, "topic": "offside"}
    assert supervisor.post(f"{where}/sign-off", data=form).status_code == 422
    form["grounds"] = "Watched live at four games."
    assert supervisor.post(f"{where}/sign-off", data=form).status_code == 303
    assert "Signed off by Orla Tamsin" in words(supervisor.get(where).text)
    assert "cleared" not in words(supervisor.get(where).text).split("Sign off by name")[0].lower()
    theirs = form | {"form_token": coordinator.form_key}
    assert coordinator.post(f"{where}/sign-off", data=theirs).status_code == 403


def test_a_chief_sees_a_summary_of_the_own_crew_and_nobody_by_name(served: League) -> None:
    take_a_check(served)
    chief, official = (words(served.browser(who).get("/crew").text) for who in ("chief", "official"))
    assert "0 of 2" in chief
    assert "2 of 2" not in chief
    assert "0 of 2" not in official
    assert "Harbour" not in chief + official


def test_a_clearance_is_never_shown_without_its_caution(coordinator: Browser) -> None:
    for where in ("/readiness", "/readiness/crews/ferry", "/readiness/people/sil"):
        assert "informs an appointment" in words(coordinator.get(where).text), where


def test_the_way_to_a_check_is_open_to_whoever_is_shown_it(served: League) -> None:
    for who in ("supervisor", "coordinator"):
        staff = served.browser(who)
        [way] = re.findall(r'<a class="go" href="([^"]+)"', staff.get("/readiness").text)
        assert staff.get(way).status_code == 200
