"""Clips on a running server: what is there and what is missing, and the marking desk's form in all its ways."""

from __future__ import annotations

import html
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from sqlmodel import Session

from app.actions.clip import card_texts, coverage
from app.domain.clip import Clip, Finding
from app.domain.people import Position
from app.domain.recording import Game, House, Prepared, Recording
from app.domain.rulecard import Presence, RuleCard, RuleException, Ruling
from app.store.clip_edits import last_edit
from app.store.content import add_clip, list_clips, load_clip, save_card, save_exception, save_game, save_positions
from app.store.recordings import add_recording, set_prepared
from tests.domain.samples import CARD, clip
from tests.web.league import BEGAN, Browser, League, league

FRAMES = 300
OFFSIDE = RuleCard.model_validate(
    CARD
    | {
        "leave_it": {"guidance": "Too slight."},
        "elements": [
            {"id": "past-second-last", "text": "Past the <last>", "when": "at a named instant", "instant": "contact"},
            {"id": "involved", "text": "Then in the play"},
        ],
        "instants": [{"id": "contact", "text": "A team-mate touches it"}],
    }
)
GOAL = RuleCard.model_validate(
    CARD
    | {
        "id": "goal",
        "title": "Goal",
        "elements": [{"id": "past-line", "text": "The whole ball past the line"}],
        "exceptions": [],
        "shared_exceptions": [],
        "variants": [],
        "words": {"flag": "Goal", "no_flag": "No goal"},
        "second_answer": {"question": "Whose restart?", "answers": ["kick-off", "goal kick"]},
    }
)
QUICK = {
    "base": "0", "how": "quick", "topic": "offside", "in_frame": "30", "out_frame": "209", "decisive": "100",
    "ruling": "no flag", "reason": "past-second-last",
}  # fmt: skip


def filled(session: Session) -> None:
    save_positions(session, [Position(id="referee", title="Referee"), Position(id="assistant-1", title="Assistant")])
    save_exception(session, RuleException(id="direct-from-restart", text="Direct from a throw-in"))
    save_game(session, Game(id="g1", title="Gullwick v Sandrey", on=date(2026, 9, 5)))
    for card in (OFFSIDE, GOAL):
        save_card(session, card)
    session.flush()
    for n, (name, offset) in enumerate((("line", 0), ("high", 12))):
        add_recording(session, Recording(id=name, file=f"{name}.mp4", angle=name, game="g1", offset=offset), "s", BEGAN)
        session.flush()
        set_prepared(
            session, name, str(n) * 64, Prepared(digest=f"{n:064x}", house=House(), frames=FRAMES, sound=False), 9
        )
    add_recording(session, Recording(id="raw", file="raw.mp4", angle="raw"), "s", BEGAN)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(filled)
        yield made


@pytest.fixture
def supervisor(served: League) -> Browser:
    return served.browser("supervisor")


def post(browser: Browser, path: str, **typed: Any) -> Response:
    given = {"form_token": browser.form_key, **typed}
    return browser.post(path, data={name: value for name, value in given.items() if value is not None})


def marked(browser: Browser, **typed: Any) -> Response:
    return post(browser, "/clips?recording=line", **{**QUICK, **typed})


def clips(served: League) -> list[Clip]:
    with served.database.read() as session:
        return list_clips(session)


def added(served: League, name: str = "offside-01", **changes: Any) -> Clip:
    made = Clip.model_validate(clip(name, **changes))
    served.database.change(add_clip, made, "orla", BEGAN)
    return made


def loaded(served: League, name: str) -> tuple[Clip, int]:
    with served.database.read() as session:
        return load_clip(session, name)


# --------------------------------------------------------------------------------- who may, what is not there


@pytest.mark.parametrize("who", ["coordinator", "evaluator", "chief", "official", "outsider"])
def test_only_the_supervisor_marks_plays(served: League, who: str) -> None:
    added(served)
    browser = served.browser(who)
    paths = ("/clips", "/clips/new?recording=line", "/clips/offside-01")
    assert {browser.get(path).status_code for path in paths} == {403}
    assert marked(browser).status_code == 403
    assert post(browser, "/clips/offside-01", **QUICK).status_code == 403
    assert [each.id for each in clips(served)] == ["offside-01"]


@pytest.mark.parametrize("name", ["unknown", "%00", "a" * 300, "..%2f..", "9" * 40, "A'--", "%F0%9F%8E%A5"])
def test_what_is_not_here_is_not_found(supervisor: Browser, name: str) -> None:
    assert supervisor.get(f"/clips/{name}").status_code == 404
    assert post(supervisor, f"/clips/{name}", **QUICK).status_code == 404
    assert supervisor.get(f"/clips/new?recording={name}").status_code == 404
    assert post(supervisor, f"/clips?recording={name}", **QUICK).status_code == 404


@pytest.mark.parametrize("at", ["x", "9" * 40])
def test_an_odd_address_is_told_and_breaks_nothing(supervisor: Browser, at: str) -> None:
    assert supervisor.get(f"/clips/new?recording=line&at={at}").status_code == 422


def test_a_play_recorded_elsewhere_has_no_desk(served: League, supervisor: Browser) -> None:
    made = Clip.model_validate(clip("far-away", views=[{"recording": "elsewhere", "in": 0, "out": 200}]))
    served.database.change(add_clip, made, "system", BEGAN, archived=True)
    assert supervisor.get("/clips/far-away").status_code == 404
    assert "far-away" not in supervisor.get("/clips").text


# --------------------------------------------------------------------------------- the list


def test_an_empty_league_says_what_goes_here(supervisor: Browser) -> None:
    page = supervisor.get("/clips").text
    assert "The marked plays of your league go here." in page
    assert "Choose a recording to mark" in page


def test_the_list_finds_by_topic_ruling_game_and_words(served: League, supervisor: Browser) -> None:
    absent = [{"of": "past-second-last", "shows": "absent"}]
    no_flag = {"topic": "offside", "ruling": "no flag", "decisive": 100, "findings": absent}
    added(served, "one", title="Level at the contact", keys=[no_flag])
    added(served, "two", title="Beyond the line", teaching="Look along the line.")
    added(served, "three", title="Over", game=None, keys=[{"topic": "goal", "ruling": "flag", "decisive": 100}])

    def found(query: str) -> set[str]:
        page = supervisor.get(f"/clips?{query}").text
        return {name for name in ("one", "two", "three") if f'href="/clips/{name}"' in page}

    assert found("") == {"one", "two", "three"}
    assert found("topic=offside") == {"one", "two"}
    assert found("ruling=no+flag") == {"one"}
    assert found("topic=goal&ruling=no+flag") == set()
    assert found("game=g1") == {"one", "two"}
    assert found("text=ALONG") == {"two"}
    assert found("topic=%00&text=%27%22%3Cb%3E") == set()


def test_the_list_says_what_no_clip_shows_and_which_keys_disagree(served: League, supervisor: Browser) -> None:
    added(served)
    wrong = {"topic": "offside", "ruling": "flag", "decisive": 100}
    added(served, "offside-02", keys=[wrong | {"findings": [{"of": "involved", "shows": "absent"}]}])
    page = html.unescape(supervisor.get("/clips").text)
    assert "The ruling and the card disagree." in page
    assert 'Direct from a throw-in, <span class="quiet">present</span>' in page
    assert 'Then in the play, <span class="quiet">absent</span>' not in page
    assert 'Past the <last>, <span class="quiet">absent</span>' in page


def test_coverage_counts_sides_and_names_gaps_in_the_order_of_the_card() -> None:
    made = [Clip.model_validate(clip()), Clip.model_validate(clip("b", looks_like=None))]
    texts = card_texts(OFFSIDE, {"direct-from-restart": "Direct"})
    found = coverage(OFFSIDE, made, texts)
    assert (found.flags, found.no_flags) == (2, 0)
    assert [what for what, _ in found.missing] == [
        "Past the <last>", "Then in the play", "An opponent deliberately plays it", "Direct", "Level",
    ]  # fmt: skip


# --------------------------------------------------------------------------------- quick key


def test_a_quick_no_flag_needs_three_marks_a_ruling_and_one_reason(served: League, supervisor: Browser) -> None:
    reply = marked(supervisor)
    (made,) = clips(served)
    assert (reply.status_code, reply.headers["location"]) == (303, f"/clips/{made.id}?topic=offside")
    assert (made.title, made.game, made.views[0].in_, made.views[0].out) == ("Offside at 0:03.10", "g1", 30, 210)
    key = made.keys[0]
    assert (key.ruling, key.decisive, key.shown) == (Ruling.NO_FLAG, 100, {"past-second-last": Presence.ABSENT})
    page = supervisor.get(f"/clips/{made.id}").text
    assert 'value="past-second-last" checked' in page
    assert "by Orla Tamsin" in page


def test_a_quick_flag_says_that_all_is_present_and_nothing_lifts_it(served: League, supervisor: Browser) -> None:
    marked(supervisor, ruling="flag", reason="", called="no flag", positions=["assistant-1"], must_get="yes")
    (made,) = clips(served)
    assert made.must_get
    assert (made.called.ruling, made.called.positions) == (Ruling.NO_FLAG, ("assistant-1",))
    assert made.keys[0].shown == {
        "past-second-last": Presence.PRESENT,
        "involved": Presence.PRESENT,
        "opponent-plays-it": Presence.ABSENT,
        "direct-from-restart": Presence.ABSENT,
    }


def test_a_shared_exception_may_be_the_reason_and_in_doubt_is_one_too(served: League, supervisor: Browser) -> None:
    marked(supervisor, reason="direct-from-restart")
    marked(supervisor, reason="can't tell", title="In doubt")
    by_title = {each.title: each.keys[0].shown for each in clips(served)}
    assert by_title == {"Offside at 0:03.10": {"direct-from-restart": Presence.PRESENT}, "In doubt": {}}


def test_leaving_it_needs_grounds_and_is_stated(served: League, supervisor: Browser) -> None:
    assert "Say why it is left." in marked(supervisor, ruling="leave it", reason="").text
    marked(supervisor, ruling="leave it", reason="", leave_it="The keeper has it already")
    (made,) = clips(served)
    assert (made.keys[0].ruling, made.keys[0].leave_it) == (Ruling.NO_FLAG, "The keeper has it already")
    assert 'value="leave it" checked' in supervisor.get(f"/clips/{made.id}").text


def test_marks_of_the_cards_instants_and_other_angles_in_step_are_kept(served: League, supervisor: Browser) -> None:
    marked(supervisor, **{"mark.contact": "80", "angles": ["high"], "reveal": "150"})
    (made,) = clips(served)
    assert [(mark.id, mark.frame) for mark in made.marks] == [("contact", 80)]
    assert [(view.recording, view.in_, view.out) for view in made.views] == [("line", 30, 210), ("high", 18, 198)]
    assert made.reveal == 150


def test_the_next_play_begins_where_the_last_one_ended(served: League, supervisor: Browser) -> None:
    reply = marked(supervisor, then="next")
    assert reply.headers["location"] == "/clips/new?recording=line&at=209&topic=offside"
    page = supervisor.get(reply.headers["location"]).text
    assert 'data-at="209"' in page
    assert len(clips(served)) == 1


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"reason": ""}, "Choose the one reason."),
        ({"reason": "no-such-thing"}, "Choose the one reason."),
        ({"ruling": None}, "This is needed."),
        ({"ruling": "maybe"}, "Choose one of those offered."),
        ({"topic": "unknown"}, "Choose one of those offered."),
        ({"decisive": None}, "This is needed."),
        ({"decisive": "soon"}, "This is not a whole number."),
        ({"decisive": "20"}, "Frame 20 is not in the first view: a frame from 30 to 209."),
        ({"out_frame": "30"}, "The clip ends before it begins."),
        ({"out_frame": "300"}, "The recording ends at frame 299."),
        ({"out_frame": "9" * 30}, "Less than or equal to"),
        ({"reveal": "299"}, "The reveal (299) is not in the first view"),
        ({"mark.contact": "5"}, "Frame 5 is not in the view: a frame from 30 to 209."),
        ({"mark.contact": "x"}, "This is not a frame's number."),
        ({"positions": ["nobody"]}, 'There is no position "nobody"'),
        ({"variant": "none-such"}, 'There is no variant "none-such"'),
        ({"positions": ["<NUL>\0"]}, "cannot be kept"),
    ],
)
def test_a_mistake_is_told_and_everything_typed_stays(
    served: League, supervisor: Browser, typed: dict[str, Any], sentence: str
) -> None:
    reply = marked(supervisor, **{"title": "Typed <by> hand", "teaching": "Do not lose me", **typed})
    assert reply.status_code == 422
    page = html.unescape(reply.text)
    assert sentence in page
    assert 'data-at="100"' in page or "decisive" in typed
    assert 'value="Typed <by> hand"' in page
    assert "Do not lose me" in page
    assert 'name="in_frame" type="number" inputmode="numeric" min="0" max="299" data-mark="i" value="30"' in page
    assert clips(served) == []


def test_a_recording_that_is_not_ready_cannot_be_marked(served: League, supervisor: Browser) -> None:
    reply = post(supervisor, "/clips?recording=raw", **{**QUICK, "in_frame": "0", "out_frame": "200"})
    assert reply.status_code == 422
    assert "This recording cannot be marked before it is prepared. Its file is not here." in reply.text
    assert clips(served) == []


# --------------------------------------------------------------------------------- full key, editing


def full(base: int, **typed: Any) -> dict[str, Any]:
    rows = {"shows.past-second-last": "present", "frame.past-second-last": "101", "view.past-second-last": "line"}
    rows |= {"shows.involved": "absent", "shows.opponent-plays-it": "can't tell", "frame.involved": ""}
    named = {"base": str(base), "how": "full", "replaces": "offside", "reason": "", "title": "Play"}
    return {**QUICK, **named, **rows, **typed}


def test_a_full_key_keeps_each_row_with_its_frame_and_angle(served: League, supervisor: Browser) -> None:
    added(served)
    assert post(supervisor, "/clips/offside-01", **full(1)).status_code == 303
    made, version = loaded(served, "offside-01")
    assert version == 2
    assert made.keys[0].findings == (
        Finding(of="past-second-last", shows=Presence.PRESENT, frame=101, view="line"),
        Finding(of="involved", shows=Presence.ABSENT),
        Finding(of="opponent-plays-it", shows=Presence.CANT_TELL),
    )


def test_an_edit_keeps_what_the_desk_does_not_ask_for(served: League, supervisor: Browser) -> None:
    added(served, "offside-00")
    more = {"situation": {"score": "0-0"}, "mechanics": {"good": ["On the line"]}, "looks_like": "offside-00"}
    before = added(served, "offside-01", marks=[{"id": "whistle", "frame": 120}], **more)
    post(supervisor, "/clips/offside-01", **full(1))
    after, _ = loaded(served, "offside-01")
    assert (after.situation, after.mechanics, after.looks_like) == ({"score": "0-0"}, before.mechanics, "offside-00")
    assert [mark.id for mark in after.marks] == ["whistle"]


def test_a_view_cut_by_hand_stays_until_the_play_is_cut_anew(served: League, supervisor: Browser) -> None:
    added(served)
    post(supervisor, "/clips/offside-01", **full(1, angles=["high"]))
    assert loaded(served, "offside-01")[0].views[1].in_ == 40
    post(supervisor, "/clips/offside-01", **full(2, angles=["high"], in_frame="50"))
    assert loaded(served, "offside-01")[0].views[1].in_ == 38


def test_a_quick_edit_keeps_the_frames_that_still_prove_the_same(served: League, supervisor: Browser) -> None:
    added(served)
    again = {**QUICK, "base": "1", "replaces": "offside", "ruling": "flag", "reason": "", "angles": ["high"]}
    post(supervisor, "/clips/offside-01", **again)
    frames = {finding.of: finding.frame for finding in loaded(served, "offside-01")[0].keys[0].findings}
    assert frames["past-second-last"] == 100


def test_a_clip_may_be_keyed_for_a_second_topic_beside_the_first(served: League, supervisor: Browser) -> None:
    added(served)
    page = supervisor.get("/clips/offside-01?topic=goal").text
    assert 'name="replaces" value=""' in page
    goal = {"topic": "goal", "ruling": "flag", "reason": "", "second_answer": "kick-off", "angles": ["high"]}
    post(supervisor, "/clips/offside-01?topic=goal", **{**QUICK, **goal, "base": "1"})
    made, _ = loaded(served, "offside-01")
    assert made.topics == ("offside", "goal")
    assert made.keys[1].second_answer == "kick-off"
    assert made.keys[0].findings == Clip.model_validate(clip()).keys[0].findings


def test_a_key_may_be_given_another_topic(served: League, supervisor: Browser) -> None:
    added(served)
    goal = {**QUICK, "base": "1", "topic": "goal", "replaces": "offside", "ruling": "flag", "reason": ""}
    post(supervisor, "/clips/offside-01", **goal)
    assert loaded(served, "offside-01")[0].topics == ("goal",)


def test_a_ruling_against_the_card_is_kept_and_told_in_the_list(served: League, supervisor: Browser) -> None:
    added(served)
    assert post(supervisor, "/clips/offside-01", **full(1, ruling="flag")).status_code == 303
    assert "The ruling and the card disagree." in supervisor.get("/clips").text


def test_a_clip_that_was_changed_meanwhile_is_answered_with_both(served: League, supervisor: Browser) -> None:
    added(served)
    assert post(supervisor, "/clips/offside-01", **full(1, title="Theirs", ruling="flag")).status_code == 303
    reply = post(supervisor, "/clips/offside-01", **full(1, title="Mine"))
    assert reply.status_code == 409
    page = html.unescape(reply.text)
    assert '<th scope="row">Title</th><td>Mine</td><td>Theirs</td>' in page
    assert '<th scope="row">You rule</th><td>no flag</td><td>flag</td>' in page
    assert '<th scope="row">In</th>' not in page
    assert 'name="base" value="2"' in page
    assert 'name="title" type="text" value="Mine"' in page
    assert loaded(served, "offside-01")[0].title == "Theirs"
    assert post(supervisor, "/clips/offside-01", **full(2, title="Mine")).status_code == 303
    made, version = loaded(served, "offside-01")
    assert (made.title, version) == ("Mine", 3)


def test_every_version_stays_on_record(served: League, supervisor: Browser) -> None:
    added(served)
    post(supervisor, "/clips/offside-01", **full(1, title="Second"))
    with served.database.read() as session:
        edit = last_edit(session, "offside-01")
    assert edit is not None
    assert (edit.version, edit.by) == (2, "Orla Tamsin")


def test_the_desk_gives_addresses_that_work_on_this_device_alone(served: League, supervisor: Browser) -> None:
    added(served)
    page = supervisor.get("/clips/offside-01").text
    assert page.count("/media/") == 3  # the picture, and both angles to choose from
    assert f"{0:064x}" not in page
    assert f"{1:064x}" not in page
