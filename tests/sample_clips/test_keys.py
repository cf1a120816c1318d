"""The sample recordings and the keys that were written from their truth."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from app.adapters.conform import departures
from app.adapters.curricula import load
from app.adapters.probe import contents
from app.domain.recording import filmed_together
from sample_clips.simulator.keys import CURRICULA, HOMES, RECORDINGS, Home, clip_of, drawn_truths

TRUTHS = {truth.name: truth for truth in drawn_truths()}


def test_every_clip_is_keyed_as_its_truth_says() -> None:
    clips = {clip.id: clip for home in HOMES for clip in load(CURRICULA / home.folder).curriculum.clips}
    assert clips == {name: clip_of(truth) for name, truth in TRUTHS.items()}


@pytest.mark.parametrize("home", HOMES, ids=[home.folder for home in HOMES])
def test_only_the_views_of_one_play_were_filmed_together(home: Home) -> None:
    recordings = load(CURRICULA / home.folder).curriculum.recordings
    for one, two in itertools.combinations(recordings, 2):
        plays = [each.id.rpartition("-")[0] for each in (one, two)]
        frames = [TRUTHS[name].frames for name in plays]
        if one.game == two.game:
            assert filmed_together(one, frames[0], two, frames[1]) == (plays[0] == plays[1]), (one.id, two.id)


@pytest.mark.media
@pytest.mark.parametrize("name", ["offside-01-line", "goal-01-high", "keeper-08-line", "shot-touched-05-high"])
def test_recordings_are_in_the_house_form_of_their_curriculum(name: str) -> None:
    """Then they are adopted, and the demo stands within seconds instead of encoding a hundred files once more."""
    house = load(CURRICULA / HOMES[0].folder).curriculum.about.house
    assert departures(contents(Path(RECORDINGS / f"{name}.mp4")), house) == ()
