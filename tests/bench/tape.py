"""Benches of the tape: what a lesson costs at first, and what a change of it costs."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from app.actions.tape import build_planned
from app.domain.tape import Piece, Plan, Shot
from app.domain.timecode import Span
from tests.bench import rivals
from tests.bench.measured import Cost, Measured, cost, medians, proved, stamps_of
from tests.bench.stamped import STEPS_12, Shelf, due, pieces, place, planned, shelf, shorter, sixty, twelve

SHORTER = 6
"""The moviepy script does the same mix of steps, each so many times shorter: its whole would take minutes."""


def build(plan: Plan, on: Shelf, name: str = "ours.mp4") -> Path:
    """The tape, as the worker builds it."""
    out = place() / name
    build_planned(plan, "bench", on.prepared, on.library, out)
    return out


def cold_cpu(runs: int) -> Measured:
    """CPU seconds of a cold build against one ffmpeg command."""
    on, plan = shelf(), twelve(shelf())
    theirs = place() / "theirs.mp4"
    pairs = []
    for run in range(runs):
        rival = cost(lambda: rivals.one_command(plan, on, theirs))
        pairs.append((cost(lambda: build(plan, on.emptied())), rival))
        if not run:
            proved(stamps_of(theirs), due(plan), "one ffmpeg command")
            proved(stamps_of(place() / "ours.mp4"), due(plan), "the tape")
    ratio, ours, other = medians(pairs, "cpu")
    return Measured(ratio, runs, {"frames": plan.frames, "ours_s": round(ours, 1), "rival_s": round(other, 1)})


def cold_wall_moviepy(runs: int) -> Measured:
    """Wall seconds a frame of a cold build of the whole lesson, against the plain script on a shorter one."""
    on, plan = shelf(), twelve(shelf())
    short = planned(list(pieces(shorter(STEPS_12, SHORTER), on)))
    out = place() / "moviepy.mp4"
    job = json.dumps(rivals.moviepy_job(short, on, out))
    script = [sys.executable, "-c", rivals.MOVIEPY]
    pairs, off = [], 0
    for run in range(runs):
        rival = cost(lambda: subprocess.run(script, input=job, text=True, check=True, capture_output=True))
        pairs.append((cost(lambda: build(plan, on.emptied())), rival))
        if not run:
            proved(stamps_of(place() / "ours.mp4"), due(plan), "the tape")
            off = _about(stamps_of(out), due(short))
    ratio, ours, other = medians(pairs, "wall")
    detail = {"frames": plan.frames, "rival_frames": short.frames, "ours_s": round(ours, 1), "rival_s": round(other, 1)}
    return Measured(ratio * short.frames / plan.frames, runs, {**detail, "rival_frames_off": off})


def _about(shown: list[int | None], due_: list[int | None]) -> int:
    """Frames of a rival that rounds its times which are not the one due; none may be far from it."""
    assert abs(len(shown) - len(due_)) <= 2 * 12, f"moviepy: {len(shown)} frames instead of {len(due_)}"
    off = 0
    for frame, stamp in enumerate(shown):
        near = due_[max(0, frame - 14) : frame + 15]
        assert any(_close(stamp, each) for each in near), f"moviepy: frame {frame} shows {stamp}"
        off += frame >= len(due_) or stamp != due_[frame]
    return off


def _close(one: int | None, other: int | None) -> bool:
    return one == other or (one is not None and other is not None and abs(one - other) <= 2)


def change_one_of_12(runs: int) -> Measured:
    """Wall seconds after moving the end of one run, against a cold build."""
    return _changed(twelve(shelf()), runs, _one_moved(9))


def change_one_of_60(runs: int) -> Measured:
    """The same of sixty steps."""
    return _changed(sixty(shelf()), runs, _one_moved(34))


def reorder_60(runs: int) -> Measured:
    """Wall seconds after another order of the same sixty steps."""
    return _changed(sixty(shelf()), runs, lambda plan, run: [*plan.pieces[20 + run :], *plan.pieces[: 20 + run]])


Change = Callable[[Plan, int], list[Piece]]
"""The pieces of a plan after a change, in each run another one."""


def _one_moved(at: int) -> Change:
    """The end of a run at full speed comes some frames earlier."""

    def moved(plan: Plan, run: int) -> list[Piece]:
        runs = [(place, piece) for place, piece in enumerate(plan.pieces) if isinstance(piece, Shot) and piece.sound]
        where, shot = next((place, shot) for place, shot in runs if place >= at)
        shorter = replace(shot, span=Span(first=shot.span.first, end=shot.span.end - 3 - 7 * run))
        return [*plan.pieces[:where], shorter, *plan.pieces[where + 1 :]]

    return moved


def _changed(plan: Plan, runs: int, change: Change) -> Measured:
    """A build after a change against one cold build; the changed tape is proved too."""
    on = shelf().emptied()
    cold = cost(lambda: build(plan, on))
    proved(stamps_of(place() / "ours.mp4"), due(plan), "the tape")
    build(plan, on)
    changed: list[Cost] = []
    for run in range(runs):
        other = planned(change(plan, run))
        changed.append(cost(lambda other=other: build(other, on)))  # type: ignore[misc]
        if not run:
            proved(stamps_of(place() / "ours.mp4"), due(other), "the changed tape")
    ratio, ours, _ = medians(((each, cold) for each in changed), "wall")
    detail = {"frames": plan.frames, "changed_s": round(ours, 2), "cold_s": round(cold.wall, 1)}
    return Measured(ratio, runs, {**detail, "changed_cpu_s": round(medians(((e, cold) for e in changed), "cpu")[1], 2)})


MEMORY = """
import json, resource, sys
from tests.bench import tape
from tests.bench.stamped import planned, shelf, sixty
on, count = shelf().emptied(), int(sys.argv[1])
tape.build(planned(sixty(on).pieces[:count]), on, f"memory-{count}.mp4")
peak = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps(peak))
"""


def memory_x10(_runs: int) -> Measured:
    """Peak memory of the builder and of its largest child: sixty steps against six, each in a process of its own."""
    shelf()
    peaks = {count: _peak(count) for count in (6, 60)}
    detail = {f"{count}_steps_mib": [round(kib / 1024) for kib in peak] for count, peak in peaks.items()}
    return Measured(sum(peaks[60]) / sum(peaks[6]), 1, detail)


def _peak(count: int) -> list[int]:
    done = subprocess.run([sys.executable, "-c", MEMORY, str(count)], check=True, capture_output=True, text=True)
    told: list[int] = json.loads(done.stdout)
    return told


def benches() -> Iterator[tuple[str, Callable[[int], Measured], int]]:
    """Name in the list of benches, what measures it, how often."""
    yield "tape_cold_cpu", cold_cpu, 1
    yield "tape_cold_wall_moviepy", cold_wall_moviepy, 1
    yield "tape_change_one_of_12", change_one_of_12, 5
    yield "tape_change_one_of_60", change_one_of_60, 5
    yield "tape_reorder_60", reorder_60, 5
    yield "tape_memory_x10", memory_x10, 1
