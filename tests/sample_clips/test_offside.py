"""The twenty offside plays: true at every border of the card, measured again from what is stored."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.signal import savgol_filter

from sample_clips.simulator import motion
from sample_clips.simulator.plays import offside
from sample_clips.simulator.plays.offside_findings import ELEMENTS, EXCEPTIONS
from sample_clips.simulator.plays.offside_measure import margins
from sample_clips.simulator.scene import SUBFRAMES, Floats, Scene
from sample_clips.simulator.truth import Play, Truth, sample_of

NAMES = tuple(offside.PLAYS)
BOUNDS = ("opponents-half", "past-the-ball", "past-second-last")


@pytest.fixture(scope="module")
def plays() -> dict[str, Play]:
    return {name: make() for name, make in offside.PLAYS.items()}


@pytest.fixture(scope="module")
def truths(plays: dict[str, Play]) -> list[Truth]:
    return [play.truth for play in plays.values()]


def by_sample(frames: Floats) -> Floats:
    """Positions by frame put back to positions by sample."""
    at = np.arange(len(frames)) * SUBFRAMES
    return np.asarray(CubicSpline(at, frames, axis=0)(np.arange(len(frames) * SUBFRAMES)))


def restored(play: Play) -> Scene:
    """The scene as far as the stored track tells it: no poses, no sounds."""
    track = play.truth.track
    assert track is not None
    return replace(
        play.scene,
        xy=by_sample(savgol_filter(track.where("xy"), 9, 3, axis=0)),  # millimetre steps are not taken for strides
        z=by_sample(track.where("z")),
        facing=by_sample(track.where("facing")),
        ball=by_sample(track.where("ball")),
        actions=(),
        noises=(),
    )


def remeasured(told: Truth) -> tuple[dict[str, float], str]:
    """Margins at the contact, and who is second-last, from nothing but the stored track."""
    track = told.track
    assert track is not None
    frame = told.instants["contact"]
    front = dict(zip(track.people, track.where("front")[frame], strict=True))
    opponents = sorted((x, who) for who, x in front.items() if who.startswith("away"))
    line, who = opponents[-2]
    attacker = front[told.people["attacker"]]
    bounds = (0.06, track.where("ball")[frame, 0] + 0.11, line)
    return {name: attacker - bound for name, bound in zip(BOUNDS, bounds, strict=True)}, who


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_positions_give_the_same_margins_again(plays: dict[str, Play], name: str) -> None:
    told = plays[name].truth
    again, who = remeasured(told)
    assert who == told.people["second-last"]
    for bound in BOUNDS:
        assert again[bound] == pytest.approx(told.distances[bound], abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_places_bear_the_foremost_points(plays: dict[str, Play], name: str) -> None:
    """Bodies rebuilt from the stored places alone stand where the stored points say, to the phase of a stride."""
    told, scene = plays[name].truth, restored(plays[name])
    contact = sample_of(told.instants["contact"])
    people = [actor.name for actor in scene.actors]
    again = margins(scene, contact, people.index(told.people["attacker"]))
    assert again["past-second-last"] == pytest.approx(told.distances["past-second-last"], abs=0.08)


@pytest.mark.parametrize("telling", offside.DRAWN, ids=NAMES)
def test_the_margin_is_the_one_that_was_wanted(plays: dict[str, Play], telling: offside.Telling) -> None:
    told = plays[telling.knobs.name].truth
    against = telling.story(telling.knobs).against
    assert told.distances[against] == pytest.approx(telling.knobs.margin, abs=0.0015)


@pytest.mark.parametrize("name", NAMES)
def test_bodies_and_ball_keep_their_limits(plays: dict[str, Play], name: str) -> None:
    scene = plays[name].scene
    along, across = motion.accelerations(scene.xy)
    assert motion.speeds(scene.xy).max() <= motion.SPRINT + 1e-6
    assert np.abs(along).max() <= motion.ALONG + 1e-6
    assert np.abs(across).max() <= motion.ACROSS + 1e-6
    assert motion.nearest(scene.xy) >= motion.APART
    assert motion.speeds(scene.ball[:, None]).max() < 38.0
    assert scene.ball[:, 2].min() > 0.109
    assert (np.ptp(scene.xy, axis=0).max(axis=1) > 0.2).all()


@pytest.mark.parametrize("name", NAMES)
def test_a_play_is_whole_and_gives_nothing_away_too_soon(plays: dict[str, Play], name: str) -> None:
    scene, told = plays[name].scene, plays[name].truth
    assert 6 * 30 <= told.frames <= 9 * 30
    assert len(scene.ball) == told.frames * SUBFRAMES
    assert told.instants["contact"] < told.instants["decisive"] < told.instants["reveal"] < told.frames
    assert told.instants["reveal"] - max(told.instants.get("involved", 0), told.instants["decisive"]) >= 30
    assert all(noise.at > sample_of(told.instants["decisive"]) for noise in scene.noises if noise.kind == "whistle")


@pytest.mark.parametrize("name", NAMES)
def test_the_deciding_people_are_large_enough_and_the_assistant_stands_level(plays: dict[str, Play], name: str) -> None:
    scene, told = plays[name].scene, plays[name].truth
    assert abs(told.distances["assistant-off-line"]) <= 0.4
    k = sample_of(told.instants["decisive"])
    people = [actor.name for actor in scene.actors]
    for role in ("attacker", "second-last"):
        away = np.linalg.norm(scene.xy[k, people.index(told.people[role])] - scene.official[k])
        assert scene.focal[k] * 1.8 / away >= 60


def test_ten_are_flags_and_ten_are_not_and_nothing_else_tells_which(
    truths: list[Truth], plays: dict[str, Play]
) -> None:
    assert Counter(told.ruling for told in truths) == {"flag": 10, "no flag": 10}
    sides = {side: [told for told in truths if told.ruling == side] for side in ("flag", "no flag")}
    lengths = {side: np.mean([told.frames for told in group]) for side, group in sides.items()}
    assert abs(lengths["flag"] - lengths["no flag"]) < 15
    whistled = {
        side: sum(any(noise.kind == "whistle" for noise in plays[told.name].scene.noises) for told in group)
        for side, group in sides.items()
    }
    assert abs(whistled["flag"] - whistled["no flag"]) <= 1
    assert 0 < whistled["flag"] < 10


def test_the_crew_is_mostly_right_and_sometimes_wrong(truths: list[Truth]) -> None:
    wrong = [told.name for told in truths if told.called != told.ruling]
    assert 3 <= len(wrong) <= 5
    assert {told.ruling for told in truths if told.called != told.ruling} == {"flag", "no flag"}


@pytest.mark.parametrize("part", [*ELEMENTS, *EXCEPTIONS])
def test_every_part_of_the_card_is_shown_present_and_absent(truths: list[Truth], part: str) -> None:
    seen = {told.findings[part].verdict for told in truths}
    assert {"present", "absent"} <= seen


@pytest.mark.parametrize("bound", BOUNDS)
def test_every_bound_is_shown_on_both_sides_of_its_border(truths: list[Truth], bound: str) -> None:
    near = [told.distances[bound] for told in truths if abs(told.distances[bound]) <= 0.35]
    assert min(near) < 0 < max(near)


def test_one_part_alone_decides_each_no_flag(truths: list[Truth]) -> None:
    for told in truths:
        stops = [part for part in ELEMENTS if told.findings[part].verdict != "present"]
        stops += [part for part in EXCEPTIONS if told.findings[part].verdict != "absent"]
        assert len(stops) == (told.ruling == "no flag"), told.name


def test_the_set_holds_what_a_curriculum_needs(truths: list[Truth]) -> None:
    told = {truth.name: truth for truth in truths}
    twins = {frozenset((truth.name, truth.looks_like)) for truth in truths if truth.looks_like}
    assert len(twins) >= 2
    for one, other in twins:
        assert told[one].looks_like == other
        assert told[one].ruling != told[other].ruling
        assert told[one].game == told[other].game
    assert sum(truth.must_get for truth in truths) >= 3
    assert sum("can't tell" in {f.verdict for f in truth.findings.values()} for truth in truths) == 2
    assert {t.variant for t in truths} >= {
        "plays-it",
        "hinders",
        "gains",
        "runs-back",
        "own-half",
        "level",
        "behind-the-ball",
    }
    assert sum("high" in truth.views for truth in truths) >= 10
    assert len({truth.teaching_point for truth in truths}) == 20


def test_a_hidden_contact_can_not_be_told_even_when_the_margin_is_clear(plays: dict[str, Play]) -> None:
    hidden = plays["offside-20"]
    found = offside.measure(hidden.scene)
    assert found.hidden
    assert found.margins["past-second-last"] > 0.1
    assert found.unsure[0] < 0 < found.unsure[1]
    assert hidden.truth.findings["past-second-last"].verdict == "can't tell"
    others = [play.truth.findings["past-second-last"] for name, play in plays.items() if name != "offside-20"]
    assert not any("hidden" in finding.why for finding in others)


def test_only_the_question_is_planned_and_the_answer_is_measured(plays: dict[str, Play]) -> None:
    """Move the judged attacker of a flag half a stride back: the truth turns without any plan being touched."""
    scene = plays["offside-07"].scene
    judged = int(scene.facts["judged"])
    level = replace(scene, xy=motion.shifted(scene.xy, judged, dx=-0.30))
    assert offside.measure(scene).margins["past-second-last"] == pytest.approx(0.20, abs=0.001)
    assert offside.measure(level).margins["past-second-last"] == pytest.approx(-0.10, abs=0.005)


def test_archived_plays_are_sound_fall_on_both_sides_and_carry_no_positions() -> None:
    """The twelve stories come round and round, so that six rounds hold at least thirty of each side."""
    archive = [offside.archived(seed) for seed in range(12)]
    for play in archive:
        told = play.truth
        assert not told.drawn
        assert told.track is None
        assert told.instants["contact"] < told.instants["decisive"] < told.instants["reveal"] < told.frames
        assert motion.speeds(play.scene.xy).max() <= motion.SPRINT + 1e-6
    sides = Counter(play.truth.ruling for play in archive)
    assert min(sides.values()) >= 5


def test_an_archived_play_is_the_same_every_time() -> None:
    assert offside.archived(4).truth == offside.archived(4).truth
    assert offside.archived(4).truth != offside.archived(16).truth
