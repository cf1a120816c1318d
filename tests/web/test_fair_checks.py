"""A check is fair to whoever has a bad line, needs more time, or had better not see somebody hurt."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, select

from app.store.content import load_clip, save_clip
from app.store.evidence import list_evidence
from app.store.people import load_person
from app.store.quizzes import Quiz
from app.store.sittings import list_answers, list_looks, list_reasons
from app.store.tables import AuditRow
from app.web.looking import terms_of
from tests.plays import NOW, PLAN, add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started, taken


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        yield made


@pytest.fixture
def quiz(served: League) -> Quiz:
    made: Quiz = served.database.change(publish, cut=SHORT)
    return made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


@pytest.fixture
def sitting(phone: Browser, quiz: Quiz) -> str:
    return started(phone, quiz)


def verdicts(served: League, sitting: str) -> list[tuple[str | None, str, str]]:
    with served.database.read() as session:
        return [(each.decision, each.verdict, each.cause) for each in list_answers(session, sitting_id=sitting)]


def without_network(n: int = 0, **changes: Any) -> dict[str, Any]:
    """A decision on a clip that the phone showed by itself."""
    return decision("", unopened=True, idempotency=f"alone-{n}") | changes


# ------------------------------------------------------------------------------------------- a lost reply


def opening(phone: Browser, sitting: str, press: str, times: int) -> dict[str, Any]:
    reply: dict[str, Any] = sent(phone, sitting, "/looks/0/open", {"press": press, "times": times}).json()
    return reply


def test_a_look_whose_opening_was_lost_on_its_way_is_opened_anew(served: League, phone: Browser, sitting: str) -> None:
    lost = opening(phone, sitting, "a-press", 1)
    again = opening(phone, sitting, "a-press", 2)
    assert (again["opened"], again["left"]) == (True, 5000)
    assert again["nonce"] != lost["nonce"]
    assert sent(phone, sitting, "/looks/0/answer", decision(lost["nonce"])).status_code == 409
    assert sent(phone, sitting, "/looks/0/answer", decision(again["nonce"])).json()["counts"]
    assert verdicts(served, sitting) == [("flag", "OK", "")]


@pytest.mark.parametrize(("press", "times"), [("a-press", 1), ("a-press", 0), ("another", 9), ("", 9)])
def test_any_other_opening_is_no_second_showing(phone: Browser, sitting: str, press: str, times: int) -> None:
    first = opening(phone, sitting, "a-press", 1)
    again = opening(phone, sitting, press, times)
    assert (again["opened"], again["nonce"]) == (False, first["nonce"])


def test_a_decided_look_is_not_opened_anew(phone: Browser, sitting: str) -> None:
    nonce = opening(phone, sitting, "a-press", 1)["nonce"]
    sent(phone, sitting, "/looks/0/answer", decision(nonce))
    assert opening(phone, sitting, "a-press", 2) | {"left": 0} == {"opened": False, "nonce": None, "left": 0}


# ------------------------------------------------------------------------------------------- a lost reason


def test_a_reason_that_was_not_said_is_asked_for_before_the_next_look(phone: Browser, sitting: str) -> None:
    why = sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0))).json()["why"]
    found = ahead(phone, sitting)["unexplained"]
    assert found == {"n": 0, "decision": "flag", "word": "Flag", "why": why}
    shows = {"": "can't tell"} if not why["whole"] else {point["id"]: "can't tell" for point in why["points"]}
    sent(phone, sitting, "/looks/0/reason", {"shows": shows})
    assert ahead(phone, sitting)["unexplained"] is None


@pytest.mark.parametrize("how", [{"decision": None}, {"hidden": True}, {"dropped": 0.9}])
def test_of_what_was_not_called_in_time_no_reason_is_asked(phone: Browser, sitting: str, how: dict[str, Any]) -> None:
    sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0)) | how)
    assert ahead(phone, sitting)["unexplained"] is None


def test_a_check_does_not_end_while_a_reason_is_left(served: League, phone: Browser, sitting: str) -> None:
    for n in range(4):
        sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n), idempotency=f"key-{n}"))
    assert sent(phone, sitting, "/finish", {}).status_code == 409
    while (left := ahead(phone, sitting)["unexplained"]) is not None:
        whole = left["why"]["whole"]
        shows = {point["id"]: "present" for point in left["why"]["points"]} if whole else {"": "present"}
        sent(phone, sitting, f"/looks/{left['n']}/reason", {"shows": shows})
    assert sent(phone, sitting, "/finish", {}).status_code == 200
    with served.database.read() as session:
        assert set(list_reasons(session, sitting)) == {0, 1, 2, 3}


# ------------------------------------------------------------------------------------------- without the network


def test_what_a_phone_showed_by_itself_is_kept_as_practice_and_replaced(
    served: League, phone: Browser, sitting: str
) -> None:
    reply = sent(phone, sitting, "/looks/1/answer", without_network()).json()
    assert reply == {"idempotency": "alone-0", "counts": False, "in_time": False, "cause": "offline", "why": None}
    assert sent(phone, sitting, "/looks/1/answer", without_network()).json() == reply
    assert sent(phone, sitting, "/looks/1/answer", without_network(9)).status_code == 409
    assert verdicts(served, sitting) == [("flag", "UNVERIFIED", "offline")]
    assert [look["n"] for look in ahead(phone, sitting)["looks"]] == [0, 2, 3, 4]


def test_a_look_that_was_decided_is_not_taken_back_as_practice(served: League, phone: Browser, sitting: str) -> None:
    sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0), "no flag"))
    assert sent(phone, sitting, "/looks/0/answer", without_network()).status_code == 409
    assert verdicts(served, sitting) == [("no flag", "OK", "")]


@pytest.mark.parametrize("who", ["chief", "other official", "outsider"])
def test_nobody_practises_in_somebody_elses_check(served: League, sitting: str, who: str) -> None:
    other = served.browser(who)
    assert sent(other, sitting, "/looks/0/answer", without_network()).status_code == 404
    assert sent(other, sitting, "/looks/0/skip", {}).status_code == 404
    assert sent(other, sitting, "/looks/99/answer", without_network()).status_code == 404
    assert verdicts(served, sitting) == []


def test_practice_is_told_in_the_result_and_counts_nowhere(served: League, phone: Browser, sitting: str) -> None:
    sent(phone, sitting, "/looks/0/answer", without_network())
    with served.database.read() as session:
        assert list_evidence(session, ["sil"]) == {}
    finished(phone, sitting)
    said = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "practice, does not count: you called flag" in said
    look = words(phone.get(f"/sittings/{sitting}/result/0").text)
    assert "It was shown without the network, as practice, so it does not count. You called flag" in look


def finished(phone: Browser, sitting: str) -> None:
    """Every look that is left, to the end; spares are told of as they come."""
    while ahead(phone, sitting)["looks"]:
        for look in ahead(phone, sitting)["looks"]:
            n = look["n"]
            what = decision(opened(phone, sitting, n), idempotency=f"key-{n}")
            why = sent(phone, sitting, f"/looks/{n}/answer", what).json()["why"]
            shows = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
            sent(phone, sitting, f"/looks/{n}/reason", {"shows": shows})
    assert sent(phone, sitting, "/finish", {}).status_code == 200


# ------------------------------------------------------------------------------------------- attempts that do not hold


def test_a_check_with_too_many_looks_replaced_counts_for_nothing_and_the_supervisor_is_told(
    served: League, phone: Browser, quiz: Quiz, sitting: str
) -> None:
    sent(phone, sitting, "/looks/0/answer", without_network(0))
    finished(phone, sitting)
    with served.database.read() as session:
        assert list_evidence(session, ["sil"]) == {}
    assert "counts for nothing. Nothing is held against you" in words(phone.get(f"/sittings/{sitting}/result").text)
    assert "counts for nothing" in words(phone.get("/results").text)
    for who in ("supervisor", "coordinator"):
        page = words(served.browser(who).get(f"/quizzes/{quiz.id}").text)
        assert "not valid: too many looks could not be played or timed" in page


def test_a_check_with_few_looks_replaced_holds(served: League, phone: Browser, quiz: Quiz, sitting: str) -> None:
    sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0), dropped=0.9))
    finished(phone, sitting)
    with served.database.read() as session:
        assert len(list_evidence(session, ["sil"])["sil"]) == 4
    assert "counts for nothing" not in words(phone.get(f"/sittings/{sitting}/result").text)
    assert "not valid" not in words(served.browser("supervisor").get(f"/quizzes/{quiz.id}").text)


# ------------------------------------------------------------------------------------------- somebody hurt


def _hurt(session: Session, clip_id: str) -> None:
    clip, version = load_clip(session, clip_id)
    save_clip(session, clip.model_copy(update={"injury": True}), version, "orla", NOW)


def test_a_clip_that_shows_somebody_hurt_is_announced_and_may_be_left_out(
    served: League, phone: Browser, sitting: str
) -> None:
    with served.database.read() as session:
        look = list_looks(session, sitting)[0]
    served.database.change(_hurt, look.clip_id)
    found = ahead(phone, sitting)
    assert [each["warning"] for each in found["looks"]] == [True, False, False, False]
    for _ in range(2):
        reply = sent(phone, sitting, "/looks/0/skip", {"idempotency": "left"})
        assert reply.json() == {"kept": True, "idempotency": "left"}
    with served.database.read() as session:
        looks = list_looks(session, sitting)
    assert [each.n for each in looks if each.state == "ahead"] == [1, 2, 3, 4]
    assert (looks[4].side, looks[4].topic) == (look.side, look.topic)
    assert verdicts(served, sitting) == []
    assert ahead(phone, sitting)["total"] == 4
    finished(phone, sitting)
    assert " of 4 right." in words(phone.get(f"/sittings/{sitting}/result").text)


def test_no_other_clip_can_be_left_out_nor_one_that_was_opened(served: League, phone: Browser, sitting: str) -> None:
    assert sent(phone, sitting, "/looks/0/skip", {}).status_code == 409
    with served.database.read() as session:
        look = list_looks(session, sitting)[0]
    served.database.change(_hurt, look.clip_id)
    opened(phone, sitting, 0)
    assert sent(phone, sitting, "/looks/0/skip", {}).status_code == 409


# ------------------------------------------------------------------------------------------- extra time


def given_time(who: Browser, person: str, **typed: Any) -> Any:
    return who.post(f"/people/{person}/extra-time", data={"form_token": who.form_key} | typed)


@pytest.mark.parametrize("who", ["supervisor", "coordinator"])
def test_extra_time_is_given_on_grounds_that_stay_on_record(served: League, who: str) -> None:
    staff = served.browser(who)
    assert "How long may Sil Marram take to decide?" in words(staff.get("/people/sil/extra-time").text)
    assert given_time(staff, "sil", percent="50", grounds="Agreed with the league").status_code == 303
    assert "50 in 100 longer" in words(staff.get("/people/sil").text)
    with served.database.read() as session:
        assert load_person(session, "sil").extra_time == 50
        noted = session.exec(select(AuditRow).where(AuditRow.verb == "extra time")).one()
    assert (noted.noun_id, noted.actor) == ("sil", "orla" if who == "supervisor" else "piet")
    assert noted.details == {"percent": 50, "grounds": "Agreed with the league"}


@pytest.mark.parametrize("typed", [{"percent": "50"}, {"percent": "500", "grounds": "x"}, {"grounds": "x"}])
def test_extra_time_without_grounds_or_of_another_length_is_refused(served: League, typed: dict[str, str]) -> None:
    assert given_time(served.browser("supervisor"), "sil", **typed).status_code == 422
    with served.database.read() as session:
        assert load_person(session, "sil").extra_time == 0


def test_the_staff_takes_no_checks_and_gets_no_time(served: League) -> None:
    supervisor = served.browser("supervisor")
    assert supervisor.get("/people/runa/extra-time").status_code == 404
    assert given_time(supervisor, "nobody", percent="50", grounds="x").status_code == 404


def test_extra_time_moves_the_deadline_that_the_server_signs(served: League, phone: Browser, quiz: Quiz) -> None:
    given_time(served.browser("supervisor"), "sil", percent="25", grounds="Agreed")
    assert "6.25 seconds (your extra time is in it)" in words(phone.get(f"/checks/{quiz.id}").text)
    sitting = started(phone, quiz)
    assert ahead(phone, sitting)["deadline"] == 6250
    page = phone.get(f"/sittings/{sitting}").text
    assert 'data-deadline="6250"' in page
    assert "your extra time included" in page
    reply = sent(phone, sitting, "/looks/0/open", {}).json()
    assert reply["left"] == 6250
    terms = terms_of(served.app.state.secret, sitting, 0, reply["nonce"])
    assert terms is not None
    assert terms.deadline == 6250


def test_what_is_said_of_a_person_leaves_their_extra_time(served: League) -> None:
    supervisor = served.browser("supervisor")
    given_time(supervisor, "sil", percent="100", grounds="Agreed")
    data = {"form_token": supervisor.form_key, "name": "Sil Marram", "role": "official"}
    assert supervisor.post("/people/sil", data=data).status_code == 303
    assert "twice as long" in words(supervisor.get("/people/sil").text)


def test_others_keep_their_time(served: League, quiz: Quiz) -> None:
    given_time(served.browser("supervisor"), "sil", percent="100", grounds="Agreed")
    chief = served.browser("chief")
    assert ahead(chief, started(chief, quiz))["deadline"] == PLAN.seconds * 1000


def test_a_whole_check_still_goes_to_its_end(phone: Browser, sitting: str) -> None:
    taken(phone, sitting)
