"""A clip as quizzes show it: whether they may ask about it, and what is hidden; hiding is an edit like any other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlmodel import Session

from app.actions.league import NEW
from app.domain.clip import Clip, Hidden
from app.domain.rulecard import Ruling
from app.store.content import load_clip, save_clip
from app.store.league import set_about
from app.store.quizzes import uses_of
from tests.plays import HOUSE, NOW, add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words

WHERE = "/clips/play-0/quiz"
BOX = {"base": "1", "left": "20", "top": "11", "width": "60", "height": "30"}


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(_content)
        yield made


def _content(session: Session) -> None:
    set_about(session, NEW.model_copy(update={"house": HOUSE}))
    add_plays(session)


@pytest.fixture
def desk(served: League) -> Browser:
    return served.browser("supervisor")


def clip(served: League) -> Clip:
    with served.database.read() as session:
        return load_clip(session, "play-0")[0]


def hidden(desk: Browser, **fields: str) -> int:
    data = {"form_token": desk.form_key, **BOX, **fields}
    return int(desk.post("/clips/play-0/hidden", data=data).status_code)


def test_the_page_tells_what_is_seen_and_heard_and_who_asks(served: League, desk: Browser) -> None:
    said = words(desk.get(WHERE).text)
    assert "Seen from frame 30 to 105 at most" in said
    assert "Silent: the card has no sound cue." in said
    assert "No quiz has asked about it yet." in said
    served.database.change(publish)
    with served.database.read() as session:
        asked = [name for name in (f"play-{n}" for n in range(12)) if uses_of(session, name)]
    assert "Asked in Offside, one look." in words(desk.get(f"/clips/{asked[0]}/quiz").text)
    assert f"/clips/{asked[0]}/quiz" in desk.get(f"/clips/{asked[0]}").text


def test_why_no_quiz_can_ask_about_it_is_told(served: League, desk: Browser) -> None:
    served.database.change(_changed, reveal=None)
    assert "has no reveal mark" in words(desk.get(WHERE).text)


def test_a_ruling_that_the_card_does_not_give_is_told(served: League, desk: Browser) -> None:
    wrong = clip(served).keys[0].model_copy(update={"ruling": Ruling.NO_FLAG})
    served.database.change(_changed, keys=(wrong,))
    assert "and the card disagree, and nothing says why." in words(desk.get(WHERE).text)


def _changed(session: Session, **changes: object) -> None:
    play, version = load_clip(session, "play-0")
    save_clip(session, play.model_copy(update=changes), version, "orla", NOW)


def test_a_part_is_hidden_and_shown_again(served: League, desk: Browser) -> None:
    assert hidden(desk, begins="70", ends="90") == 303
    part = Hidden.model_validate({"left": 20, "top": 10, "width": 60, "height": 30, "from": 70, "to": 90})
    assert clip(served).hidden == (part,)
    page = desk.get(WHERE).text
    assert "60 by 30 at 20, 10 from frame 70 to 89" in words(page)
    assert 'data-from="70" data-to="90"' in page
    data = {"form_token": desk.form_key, "base": "2"}
    assert desk.post("/clips/play-0/hidden/0/show", data=data).status_code == 303
    assert clip(served).hidden == ()
    assert desk.post("/clips/play-0/hidden/0/show", data={**data, "base": "3"}).status_code == 404


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"left": "300"}, 422),  # reaches outside the picture of 320 pixels
        ({"width": "1"}, 422),
        ({"begins": "90", "ends": "80"}, 422),
        ({"left": "-2"}, 422),
        ({"top": "much"}, 422),
        ({"base": "9"}, 422),  # somebody else has changed it meanwhile
    ],
)
def test_what_cannot_be_hidden_is_told_and_nothing_is_kept(
    served: League, desk: Browser, fields: dict[str, str], status: int
) -> None:
    assert hidden(desk, **fields) == status
    assert clip(served).hidden == ()


def test_the_marking_desk_keeps_what_is_hidden(served: League, desk: Browser) -> None:
    hidden(desk)
    before = clip(served)
    fields = {
        "form_token": desk.form_key, "base": "2", "topic": "offside", "replaces": "offside", "how": "quick",
        "in_frame": "30", "out_frame": "199", "decisive": "60", "reveal": "180", "ruling": "flag", "title": "Another",
    }  # fmt: skip
    assert desk.post("/clips/play-0", data=fields).status_code == 303
    assert (clip(served).title, clip(served).hidden) == ("Another", before.hidden)


@pytest.mark.parametrize("name", ["nobody", "%00", "é"])
def test_clips_that_are_not_there_are_not_found(desk: Browser, name: str) -> None:
    assert desk.get(f"/clips/{name}/quiz").status_code == 404
    data = {"form_token": desk.form_key, **BOX}
    assert desk.post(f"/clips/{name}/hidden", data=data).status_code == 404
