"""A game's recordings in step: by sound where it can be told, by hand to the frame, and words where it cannot."""

from __future__ import annotations

import re
import wave
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from sqlmodel import Session

from app.actions.instep import put_in_step
from app.actions.job import Work
from app.adapters.files import Library
from app.domain.recording import Game, House, Prepared, Recording
from app.domain.timecode import Rate
from app.store.content import save_game
from app.store.recordings import RecordingFacts, add_recording, load_recording, set_prepared
from tests.plays import NOW, digest
from tests.web.league import Browser, League, league

HOUSE = House(width=320, height=180, rate=Rate(num=30))
SECONDS = 9


def sound_of_a_game(seconds: float, seed: int) -> NDArray[np.float64]:
    """A crowd with kicks and whistles, 48 kHz."""
    chance = np.random.default_rng(seed)
    made = chance.normal(size=int(seconds * 48_000)) * 0.05
    for at in chance.integers(0, len(made) - 20_000, int(2 * seconds)):
        length = chance.integers(2_000, 20_000)
        made[at : at + length] += np.sin(chance.uniform(0.1, 0.4) * np.arange(length)) * np.hanning(length) * 0.4
    return made


def filmed(session: Session, library: Library, name: str, sound: NDArray[np.float64] | None) -> None:
    """A ready recording of the game with this sound; None: without."""
    add_recording(session, Recording(id=name, file=f"{name}.mp4", angle=name, game="g1"), "system", NOW)
    prepared = Prepared(digest=digest(name), house=HOUSE, frames=30 * SECONDS, sound=sound is not None)
    set_prepared(session, name, digest(f"{name} came"), prepared, 1000)
    if sound is not None:
        path = library.sound(prepared.digest)
        path.parent.mkdir(parents=True, exist_ok=True)
        with wave.open(str(path), "wb") as file:
            file.setparams((2, 2, 48_000, 0, "NONE", ""))
            file.writeframes(np.repeat((sound * 30_000).clip(-32768, 32767).astype("<i2"), 2).tobytes())


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(save_game, Game(id="g1", title="Herons v Terns"))
        game, other = sound_of_a_game(SECONDS + 3, 1), sound_of_a_game(SECONDS, 2)
        library, count = Library(tmp_path), SECONDS * 48_000
        for name, sound in (("high", game[:count]), ("line", game[72_000 : 72_000 + count]), ("crowd", other)):
            made.database.change(filmed, library, name, sound)
        made.database.change(filmed, library, "mute", None)
        yield made


@pytest.fixture
def supervisor(served: League) -> Browser:
    return served.browser("supervisor")


def kept(served: League, name: str) -> RecordingFacts:
    with served.database.read() as session:
        return load_recording(session, name)


def test_by_sound_those_that_heard_the_same_are_in_step_and_the_others_say_why_not(
    served: League, supervisor: Browser
) -> None:
    form = {"form_token": supervisor.form_key}
    assert supervisor.post("/games/g1/in-step", data=form).headers["location"] == "/games/g1"
    assert "The sound of its recordings is being compared." in supervisor.get("/games/g1").text
    args = {"game": "g1", "by": "orla"}
    put_in_step(Work(served.database, Library(served.data), args, lambda *_: None, lambda: datetime.now(UTC)))
    assert [kept(served, name).recording.offset for name in ("high", "line", "crowd", "mute")] == [0, 45, 0, 0]
    page = supervisor.get("/games/g1").text
    assert "In step with “high” by sound" in page
    assert [kept(served, name).step for name in ("high", "mute")] == [
        "Others are in step with this one.",
        "Cannot be put in step by sound. It has no sound.",
    ]
    assert "Cannot be put in step by sound. No other sounds like it" in page


def test_by_hand_it_is_to_the_frame(served: League, supervisor: Browser) -> None:
    form = {"form_token": supervisor.form_key, "offset": "0", "by": "1", "at": "100"}
    moved = supervisor.post("/games/g1/recordings/line", data=form)
    assert moved.headers["location"] == "/games/g1?at=100#line"
    assert kept(served, "line").recording.offset == 1
    assert "Put in step by hand." in supervisor.get("/games/g1?at=100").text
    assert supervisor.post("/games/g1/recordings/line", data=form | {"offset": "9" * 30}).status_code == 422
    assert supervisor.post("/games/g1/recordings/none", data=form).status_code == 404


@pytest.mark.parametrize("at", ["-1", "0", "269", "100000"])
def test_any_moment_of_the_clock_can_be_asked_for(supervisor: Browser, at: str) -> None:
    page = supervisor.get(f"/games/g1?at={at}")
    assert page.status_code == 200
    assert "It shows nothing at this moment." in page.text  # there is no picture in this test's recordings


def test_what_shows_the_moment_comes_first(supervisor: Browser) -> None:
    form = {"form_token": supervisor.form_key, "offset": "5000", "by": "0", "at": "5010"}
    supervisor.post("/games/g1/recordings/mute", data=form)
    page = supervisor.get("/games/g1?at=5010").text
    assert re.findall(r'<li id="(\w+)"', page) == ["mute", "crowd", "high", "line"]
    assert re.findall(r'<li id="(\w+)"', supervisor.get("/games/g1").text)[-1] == "mute"


def test_the_list_leads_there(supervisor: Browser) -> None:
    assert 'href="/games/g1"' in supervisor.get("/recordings").text
    assert supervisor.get("/games/g9").status_code == 404
