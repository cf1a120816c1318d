"""Results: marked by the answers as they are, explained point by point, for their own person and the staff alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.clip import Clip
from app.domain.rulecard import Ruling
from app.store.content import load_clip, save_clip
from app.store.disagreements import list_disagreements
from app.store.sittings import Look, list_looks
from tests.plays import LINE, PLAYED, add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started, taken


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        yield made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


def check_of(served: League, phone: Browser, **how: Any) -> str:
    """A check that was taken; the sitting's id."""
    sitting = started(phone, served.database.change(publish, cut=SHORT))
    taken(phone, sitting, **how)
    return sitting


def looks_of(served: League, sitting: str, side: Ruling) -> list[Look]:
    """Its looks of one side."""
    with served.database.read() as session:
        return [look for look in list_looks(session, sitting) if look.side is side]


# ------------------------------------------------------------------------------------------- the list


def test_without_a_check_the_page_says_what_goes_here(phone: Browser) -> None:
    page = phone.get("/results").text
    assert "<h1>No checks taken yet.</h1>" in page
    assert 'href="/due"' in page


def test_ones_checks_stand_with_how_many_were_right(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    page = phone.get("/results").text
    assert "<h1>You have taken one check.</h1>" in page
    assert "2 of 4 right" in page
    assert f"/sittings/{sitting}/result" in page
    assert "No checks taken yet" in served.browser("chief").get("/results").text


def test_the_list_says_which_way_one_leans_or_that_it_is_too_early(served: League, phone: Browser) -> None:
    assert "Which way you lean" not in phone.get("/results").text
    check_of(served, phone)
    said = words(phone.get("/results").text)
    assert "Too early to say which way you lean." in said
    assert "Flags missed 0 of 2" in said
    assert "Flags too many 2 of 2 which may be 43 to 100 in 100" in said
    assert "No call in time 0 of 4" in said


# ------------------------------------------------------------------------------------------- one check


def test_a_check_tells_each_look_in_words(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    said = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "2 of 4 right." in said
    assert "Two flags too many." in said
    assert said.count("you called flag") == 2
    assert len(re.findall(r"\b[1-4] Flag right\b", said)) == 2


def test_a_right_call_for_a_wrong_reason_is_told_apart(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone, shows={LINE: "absent"})
    said = words(phone.get(f"/sittings/{sitting}/result").text)
    assert said.count("right, but not for that reason") == 2
    assert "Two right calls for a reason that the picture does not show." in said


def test_what_is_late_and_what_does_not_count_is_said(served: League, phone: Browser) -> None:
    sitting = started(phone, served.database.change(publish, cut=SHORT))
    sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0), None, idempotency="late"))
    sent(phone, sitting, "/looks/1/answer", decision(opened(phone, sitting, 1), dropped=0.9, idempotency="unplayed"))
    taken(phone, sitting)
    said = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "late: no call in time" in said
    assert "could not be played: does not count" in said
    assert " of 4 right." in said
    assert "did not call it in time" in words(phone.get(f"/sittings/{sitting}/result/0").text)
    assert "it does not count" in words(phone.get(f"/sittings/{sitting}/result/1").text)


def test_a_changed_answer_changes_the_result(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    wrong = looks_of(served, sitting, Ruling.NO_FLAG)[0]
    served.database.change(_now_a_flag, wrong.clip_id)
    assert "3 of 4 right." in words(phone.get(f"/sittings/{sitting}/result").text)


def _now_a_flag(session: Session, clip_id: str) -> None:
    clip, version = load_clip(session, clip_id)
    key = clip.keys[0].model_copy(update={"ruling": Ruling.FLAG})
    save_clip(
        session, Clip.model_validate(clip.model_copy(update={"keys": (key,)})), version, "orla", datetime.now(UTC)
    )


def test_before_the_end_there_is_no_result(served: League, phone: Browser) -> None:
    sitting = started(phone, served.database.change(publish, cut=SHORT))
    sent(phone, sitting, "/looks/0/answer", decision(opened(phone, sitting, 0)))
    for where in ("/result", "/result/0"):
        reply = phone.get(f"/sittings/{sitting}{where}")
        assert (reply.status_code, reply.headers["location"]) == (303, f"/sittings/{sitting}")
        assert served.browser("supervisor").get(f"/sittings/{sitting}{where}").status_code == 404
    assert phone.get(f"/sittings/{sitting}/result/0/disagree").status_code == 404
    assert ahead(phone, sitting)["total"] == 4


# ------------------------------------------------------------------------------------------- one look


def test_a_look_tells_the_answer_and_the_point_that_decides_it(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone, shows={LINE: "present", PLAYED: "absent"})
    whole = [look for look in looks_of(served, sitting, Ruling.NO_FLAG) if look.asks_all]
    for look in whole:
        said = words(phone.get(f"/sittings/{sitting}/result/{look.n}").text)
        assert "No flag. You called flag ." in said
        assert (
            "Nearer the goal line than the second-last opponent The picture absent at 0:00.10 You said present" in said
        )
        assert f"Freeze the contact of play {look.clip_id.removeprefix('play-')}." in said
        assert "At 0:00.10" in said
    for look in looks_of(served, sitting, Ruling.FLAG):
        said = words(phone.get(f"/sittings/{sitting}/result/{look.n}").text)
        assert "Flag. You called flag ." in said
        assert "Then in the play The picture present at 0:01.00" in said


def test_each_point_leads_to_its_frame_and_the_looks_to_each_other(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    page = phone.get(f"/sittings/{sitting}/result/0").text
    assert f'class="go" href="/sittings/{sitting}/result/1"' in page
    assert "At the decisive moment, 0:01.00" in words(phone.get(f"/sittings/{sitting}/result/0?at=involved").text)
    assert "At 0:00.10" in words(phone.get(f"/sittings/{sitting}/result/0?at={LINE}").text)
    assert f'class="go" href="/sittings/{sitting}/result"' in phone.get(f"/sittings/{sitting}/result/3").text
    for odd in ("nothing", "%00", "x" * 80):
        assert phone.get(f"/sittings/{sitting}/result/0?at={odd}").status_code == 200
    assert phone.get(f"/sittings/{sitting}/result/0?at={'x' * 300}").status_code == 422


def test_a_picture_that_is_gone_is_said(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    assert "The picture of this play is not here any more." in phone.get(f"/sittings/{sitting}/result/0").text


@pytest.mark.parametrize("who", ["supervisor", "coordinator"])
def test_the_staff_sees_it_under_its_persons_name(served: League, phone: Browser, who: str) -> None:
    sitting = check_of(served, phone)
    other = served.browser(who)
    assert "Sil Marram called flag" in words(other.get(f"/sittings/{sitting}/result").text)
    page = other.get(f"/sittings/{sitting}/result/0").text
    assert "Sil Marram said" in page
    assert "I disagree" not in page
    assert other.get(f"/sittings/{sitting}/result/0/disagree").status_code == 403


@pytest.mark.parametrize("who", ["chief", "other official", "outsider"])
def test_other_officials_do_not_see_it(served: League, phone: Browser, who: str) -> None:
    sitting, other = check_of(served, phone), served.browser(who)
    for where in ("/result", "/result/0", "/result/0/disagree"):
        assert other.get(f"/sittings/{sitting}{where}").status_code == 404
    form = {"form_token": other.form_key, "text": "It was level."}
    assert other.post(f"/sittings/{sitting}/result/0/disagree", data=form).status_code == 404
    with served.database.read() as session:
        assert list_disagreements(session) == []


# ------------------------------------------------------------------------------------------- disagreeing


def test_somebody_may_disagree_in_their_own_words_once(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    where = f"/sittings/{sitting}/result/0"
    assert "What do you see otherwise?" in phone.get(f"{where}/disagree").text
    short = phone.post(f"{where}/disagree", data={"form_token": phone.form_key, "text": "no"})
    assert short.status_code == 422
    assert ">no</textarea>" in short.text
    form = {"form_token": phone.form_key, "text": "He was level <when> it was played."}
    assert phone.post(f"{where}/disagree", data=form).headers["location"] == f"{where}#told"
    page = phone.get(where).text
    assert "He was level &lt;when&gt; it was played." in page
    assert ">I disagree<" not in page
    assert phone.post(f"{where}/disagree", data=form).status_code == 409
    with served.database.read() as session:
        assert [(each.person_id, each.n) for each in list_disagreements(session, only_open=True)] == [("sil", 0)]


def test_a_disagreement_waits_for_the_supervisor_whose_reply_stands_with_the_look(
    served: League, phone: Browser
) -> None:
    where = f"/sittings/{check_of(served, phone)}/result/0"
    supervisor, coordinator = served.browser("supervisor"), served.browser("coordinator")
    assert "No disagreement waits for a reply." in supervisor.get("/disagreements").text
    phone.post(f"{where}/disagree", data={"form_token": phone.form_key, "text": "He was level."})
    assert "One official disagrees" in supervisor.get("/quizzes").text
    for staff in (supervisor, coordinator):
        listed = words(staff.get("/disagreements").text)
        assert "One disagreement waits for a reply." in listed
        assert "Sil Marram" in listed
        assert "He was level." in listed
    assert f'action="{where}/reply"' in supervisor.get(where).text
    assert "/reply" not in coordinator.get(where).text + phone.get(where).text
    form = {"form_token": supervisor.form_key, "reply": "Level is on <side>."}
    assert supervisor.post(f"{where}/reply", data=form).headers["location"] == "/disagreements"
    assert "The answer: Level is on" in words(supervisor.get("/disagreements").text)
    assert "Level is on &lt;side&gt;." in phone.get(where).text
    assert supervisor.post(f"{where}/reply", data=form).status_code == 404


def test_a_look_says_outright_whether_the_call_was_right(served: League, phone: Browser) -> None:
    sitting = check_of(served, phone)
    right, wrong = looks_of(served, sitting, Ruling.FLAG)[0], looks_of(served, sitting, Ruling.NO_FLAG)[0]
    assert "You called flag . Right" in words(phone.get(f"/sittings/{sitting}/result/{right.n}").text)
    assert "You called flag . The picture shows otherwise." in words(
        phone.get(f"/sittings/{sitting}/result/{wrong.n}").text
    )
