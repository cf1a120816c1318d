"""A lesson as a tape, from a curriculum and a folder of recordings to every decoded frame and every beep."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.actions.tape import Built, build_tape
from app.adapters import cache, cut
from app.adapters.files import Library, digest_of_file
from app.domain.clip import Clip
from app.domain.curriculum import About, Curriculum
from app.domain.errors import BadInput, Misplaced, RenderFailed
from app.domain.lesson import Lesson
from app.domain.recording import Recording
from app.domain.tape import Plan, Shot, plan
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE, Shelf

pytestmark = pytest.mark.media

Steps = Sequence[dict[str, Any]]
STEPS: Steps = [
    {"kind": "title", "title": "Offside", "subtitle": "Freeze the contact", "frames": 20, "note": "The line."},
    {"kind": "run", "clip": "near", "from": 7, "to": 131, "note": "At full speed. " * 4},
    {"kind": "run", "clip": "near", "from": 50, "to": 60, "speed": "1/4"},
    {"kind": "run", "clip": "near", "from": 61, "to": 92, "speed": "2/3"},
    {"kind": "run", "clip": "near", "from": 30, "to": 95, "speed": "2"},
    {"kind": "freeze", "clip": "near", "at": "decisive", "frames": 31, "chapter": "The contact"},
    {"kind": "run", "clip": "far", "chapter": "From the other side"},
    {"kind": "freeze", "clip": "far", "at": 41, "frames": 12},
    {"kind": "run", "clip": "near", "from": 15, "to": 200},
]


def _clip(name: str, first: int, out: int) -> Clip:
    views = [{"recording": name, "in": first, "out": out}]
    keys = [{"topic": "offside", "ruling": "flag", "decisive": 45}]
    return Clip.model_validate({"id": name, "title": name, "views": views, "keys": keys})


def _curriculum(steps: Steps, *, out: int = tapes.NEAR) -> Curriculum:
    head = {"series": "Offside", "number": 4, "title": "The rebound that counts"}
    return Curriculum(
        about=About(
            id="saltmarsh", title="Saltmarsh", league="Saltmarsh Coast League", sport="association football",
            rule_book="our own", caution="The referee decides.", house=HOUSE,
        ),
        recordings=tuple(Recording(id=name, file=f"{name}.mp4", angle=name) for name in ("near", "far")),
        clips=(_clip("near", 0, out), _clip("far", 4, 70)),
        lessons=(Lesson.model_validate({"id": "rebound", **head, "steps": list(steps)}),),
    )  # fmt: skip


def _built(shelf: Shelf, steps: Steps, out: Path, *, continuous: bool = False) -> Built:
    return build_tape(_curriculum(steps), "rebound", shelf.media, shelf.library, out, continuous=continuous)


def _plan(shelf: Shelf, steps: Steps) -> Plan:
    curriculum = _curriculum(steps)
    return plan(curriculum.lesson("rebound"), curriculum.clip_by_id(), shelf.recordings, HOUSE)


def _due(shelf: Shelf, work: Plan) -> list[int | None]:
    return tapes.due(work.pieces, {shelf.digest(name): stamps for name, stamps in shelf.stamps.items()})


def _due_beeps(work: Plan) -> list[float]:
    """When a beep of a recording begins on the tape, by its frames: the first tenth of every second of a run."""
    times = []
    for placed, piece in work.placed():
        if isinstance(piece, Shot) and piece.sound:
            seconds = range(-(-piece.span.first // 30), piece.span.end // 30 + 1)
            frames = [30 * second - piece.span.first + placed.first for second in seconds]
            times += [frame / 30 for frame in frames if frame < placed.end - 2]
    return times


def test_every_frame_and_every_beep_of_a_lesson_is_where_it_is_due(shelf: Shelf, tmp_path: Path) -> None:
    out, work = tmp_path / "out.mp4", _plan(shelf, STEPS)
    built = _built(shelf, STEPS, out)
    shown = tapes.stamps_of(out)
    assert shown == _due(shelf, work)
    assert len(shown) == built.frames == work.frames
    assert shown[:20] == [None] * 20
    assert None not in shown[20:]
    heard = video.beeps(video.heard(out))
    assert len(heard) == len(_due_beeps(work)) >= 12
    assert np.abs(np.array(heard) - _due_beeps(work)).max() < 0.02
    assert [chapter.frame for chapter in built.chapters] == [0, 20 + 124 + 40 + 47 + 33, 20 + 124 + 40 + 47 + 33 + 31]
    assert (built.made, built.reused, built.bytes) == (9, 0, out.stat().st_size)
    assert built.duration_s == pytest.approx(work.frames / 30)
    assert out.with_suffix(".vtt").read_text().startswith("WEBVTT\n\n00:00:00.000 --> 00:00:00.667\nThe line.\n")
    assert out.with_suffix(".jpg").stat().st_size > 1000


def test_only_what_was_changed_is_made_again(shelf: Shelf, tmp_path: Path) -> None:
    steps = [*STEPS[1:3], *STEPS[5:8]]
    first = _built(shelf, steps, tmp_path / "a.mp4")
    again = _built(shelf, steps, tmp_path / "b.mp4")
    assert ((first.made, first.reused), (again.made, again.reused)) == ((5, 0), (0, 5))
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()
    steps[1] = {**steps[1], "to": 62}
    changed = _built(shelf, steps, tmp_path / "b.mp4")
    assert (changed.made, changed.reused) == (1, 4)
    moved = _built(shelf, [*steps[2:], *steps[:2], steps[0]], tmp_path / "b.mp4")
    assert (moved.made, moved.reused) == (0, 6)
    assert tapes.stamps_of(tmp_path / "b.mp4")[-124:] == list(range(7, 131))


@pytest.mark.parametrize(("continuous", "slack"), [(False, 0.0155), (True, 0.008)], ids=["by stretch", "continuous"])
def test_sound_keeps_step_with_the_picture_for_five_minutes(
    continuous: bool, slack: float, shelf: Shelf, tmp_path: Path
) -> None:
    out = tmp_path / "out.mp4"
    runs = [{"kind": "run", "clip": "near", "from": first, "to": end} for first, end in ((0, 180), (30, 200), (5, 90))]
    steps = [runs[number % 3] for number in range(63)]
    built, work = _built(shelf, steps, out, continuous=continuous), _plan(shelf, steps)
    assert built.frames == work.frames > 300 * 30
    heard, due = video.beeps(video.heard(out)), _due_beeps(work)
    assert len(heard) == len(due) > 280
    assert np.abs(np.array(heard) - due).max() < slack
    if continuous:
        assert tapes.stamps_of(out) == _due(shelf, work)


def test_a_recording_shorter_than_its_clip_is_told_with_the_step(shelf: Shelf, tmp_path: Path) -> None:
    curriculum = _curriculum([STEPS[0], {"kind": "run", "clip": "near"}], out=230)
    with pytest.raises(BadInput, match=r'lesson "rebound", step 2: the recording "near" has 200 frames'):
        build_tape(curriculum, "rebound", shelf.media, shelf.library, tmp_path / "out.mp4")
    assert list(tmp_path.glob("out.*")) == []


def test_names_that_mean_nothing_are_told(shelf: Shelf, tmp_path: Path) -> None:
    curriculum = _curriculum(STEPS)
    with pytest.raises(BadInput, match='no lesson "kickoff"'):
        build_tape(curriculum, "kickoff", shelf.media, shelf.library, tmp_path / "out.mp4")
    with pytest.raises(BadInput, match=r"near\.mp4 is not there"):
        build_tape(curriculum, "rebound", tmp_path, shelf.library, tmp_path / "out.mp4")
    bare = curriculum.model_copy(update={"recordings": ()})
    with pytest.raises(BadInput, match='no recording "near"'):
        build_tape(bare, "rebound", shelf.media, shelf.library, tmp_path / "out.mp4")
    for name in ("out.vtt", "out.jpg", "."):
        with pytest.raises(BadInput, match="name"):
            build_tape(curriculum, "rebound", shelf.media, shelf.library, tmp_path / name)


def test_a_failure_names_its_step_and_leaves_the_old_tape(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.mp4"
    _built(shelf, STEPS[1:2], out)
    before = out.read_bytes()
    monkeypatch.setattr(cut, "_largest", lambda frames, _house: 900 if frames == 31 else 1 << 30)
    with pytest.raises(RenderFailed, match=r'lesson "rebound", step 2: .* larger than is allowed') as raised:
        _built(shelf, [STEPS[1], STEPS[5]], out)
    assert raised.value.permanent
    assert out.read_bytes() == before
    assert list(tmp_path.rglob("*.part")) == []


def test_what_is_being_done_is_told(shelf: Shelf, tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    steps = [STEPS[2], STEPS[1]]
    build_tape(
        _curriculum(steps), "rebound", shelf.media, shelf.library, tmp_path / "out.mp4",
        lambda doing, share: told.append((doing, share)),
    )  # fmt: skip
    assert [each for each in told if not each[0].startswith("preparing")] == [
        ("cutting", 0.5),
        ("cutting", 1.0),
        ("joining", 0.0),
        ("joining", 1.0),
    ]


BUILD = """
import sys, json
from pathlib import Path
from app.actions.tape import build_tape
from app.adapters.files import Library, digest_of_file
from app.domain.curriculum import Curriculum
told = json.load(sys.stdin)
curriculum, library = Curriculum.model_validate(told["curriculum"]), Library(Path(told["root"]))
tell = lambda *done: print(*done, flush=True)
build_tape(curriculum, "rebound", Path(told["media"]), library, Path(told["out"]), tell)
"""


KILLED = [*STEPS[:3], STEPS[5]]


@pytest.mark.parametrize("at", ["cutting", "joining"])
def test_a_killed_build_leaves_no_tape_and_the_next_one_goes_on_from_there(
    at: str, shelf: Shelf, tmp_path: Path
) -> None:
    out = tmp_path / "out.mp4"
    _kill(at, shelf, out)
    assert not any(out.with_suffix(suffix).exists() for suffix in (".mp4", ".vtt", ".jpg"))
    _assert_no_half_segment(shelf.library)
    built = _built(shelf, KILLED, out)
    assert built.reused >= 1
    assert tapes.stamps_of(out) == _due(shelf, _plan(shelf, KILLED))
    assert list(shelf.library.root.rglob("*.part")) == []


def _kill(at: str, shelf: Shelf, out: Path) -> None:
    """Start a build in a process of its own and kill it as soon as it says that it is there."""
    job = {
        "curriculum": _curriculum(KILLED).model_dump(mode="json", by_alias=True), "media": str(shelf.media),
        "root": str(shelf.library.root), "out": str(out),
    }  # fmt: skip
    with subprocess.Popen(
        [sys.executable, "-c", BUILD], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=Path.cwd()
    ) as build:
        assert build.stdin is not None
        assert build.stdout is not None
        build.stdin.write(json.dumps(job))
        build.stdin.close()
        while line := build.stdout.readline():
            if line.startswith(at):
                break
        os.kill(build.pid, signal.SIGKILL)
    time.sleep(0.3)  # its children hear of it from the kernel


def _assert_no_half_segment(library: Library) -> None:
    """Every record in the cache stands beside files that are as it says."""
    records = list((library.root / "segments").glob("*/*.json"))
    assert records
    for record in records:
        for kept in json.loads(record.read_bytes())["parts"]:
            if not kept["recording"]:
                file = library.segment(kept["segment"], ".mp4")
                assert digest_of_file(file) == kept["sha256"]


ASKED: Steps = [
    {"kind": "question", "clip": "near", "question": "Flag?", "from": 34, "to": 75, "frames": 33, "note": "Look."},
    {"kind": "loop", "clip": "near", "from": 80, "to": 95, "times": 3},
]


def test_a_question_and_a_loop_show_every_frame_that_is_due(shelf: Shelf, tmp_path: Path) -> None:
    out = tmp_path / "out.mp4"
    built = _built(shelf, ASKED, out)
    shown = tapes.stamps_of(out)
    assert shown[:12] == list(range(34, 46))
    assert shown[12:45] == [None] * 33, "the band of the question covers the foot of the stamp"
    assert shown[45:] == [*range(46, 75), *(frame for _ in range(3) for frame in range(80, 95))]
    assert built.frames == len(shown)
    assert " line:5%\nLook.\n" in out.with_suffix(".vtt").read_text()
    due = np.array([45 + 60 - 46, 74 + 10, 74 + 25, 74 + 40]) / 30
    assert np.array(video.beeps(video.heard(out))) == pytest.approx(due, abs=0.02)


def _said(shelf: Shelf, folder: Path, seconds: float) -> Path:
    """The folder of recordings, with a voice of so many seconds beside them."""
    media = folder / "media"
    media.mkdir()
    for name in ("near.mp4", "far.mp4"):
        (media / name).symlink_to(shelf.media / name)
    video.tone(media / "level.wav", seconds)
    return media


def test_a_voice_longer_than_its_picture_holds_the_last_frame_and_says_so(shelf: Shelf, tmp_path: Path) -> None:
    steps = [
        {"kind": "run", "clip": "near", "from": 40, "to": 70, "voice": "level.wav", "note": "Level. " * 5},
        STEPS[7],
    ]
    media, out = _said(shelf, tmp_path, 2.5), tmp_path / "out.mp4"
    built = build_tape(_curriculum(steps), "rebound", media, shelf.library, out)
    assert tapes.stamps_of(out) == [*range(40, 70), *[69] * 47, *tapes.stamps_of(out)[77:]]
    assert built.notes[-1] == "Step 1 is 1.6 s shorter than its voice; its last frame is held so much longer."
    assert built.frames == 77 + 12
    assert "00:00:00.000 --> 00:00:02.500\n" in out.with_suffix(".vtt").read_text()
    assert len(video.beeps(video.heard(out))) >= 3


@pytest.mark.parametrize("voice", ["other.wav", "near.txt"])
def test_a_voice_that_cannot_be_heard_is_told_with_its_step(voice: str, shelf: Shelf, tmp_path: Path) -> None:
    media = _said(shelf, tmp_path, 1)
    (media / "near.txt").write_text("No sound.")
    steps = [STEPS[0], {**STEPS[7], "voice": voice}]
    with pytest.raises(Misplaced, match="no voice note") as raised:
        build_tape(_curriculum(steps), "rebound", media, shelf.library, tmp_path / "out.mp4")
    assert raised.value.path == ("lessons", "rebound", "steps", 1, "voice")
    assert not (tmp_path / "out.mp4").exists()


def test_what_was_damaged_in_the_cache_is_made_again_and_told(shelf: Shelf, tmp_path: Path) -> None:
    steps = [STEPS[2], STEPS[1]]
    first = _built(shelf, steps, tmp_path / "a.mp4")
    for file in (
        *(shelf.library.root / "segments").glob("*/*.mp4"),
        *(shelf.library.root / "segments").glob("*/*.m4a"),
    ):
        data = bytearray(file.read_bytes())
        data[len(data) // 2] ^= 255
        file.write_bytes(data)
    again = _built(shelf, steps, tmp_path / "b.mp4")
    assert first.notes == ()
    assert again.notes == ("4 pieces were damaged on the disk and made again; the tape is whole.",)
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()
    assert _built(shelf, steps, tmp_path / "c.mp4").notes == ()


def test_a_full_cache_makes_room_after_a_build_and_the_tape_can_be_built_again(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache.evict, "__defaults__", (0,))
    _built(shelf, STEPS[1:3], tmp_path / "a.mp4")
    assert list((shelf.library.root / "segments").glob("??/*")) == []
    again = _built(shelf, STEPS[1:3], tmp_path / "b.mp4")
    assert (again.made, again.notes) == (2, ())
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()
