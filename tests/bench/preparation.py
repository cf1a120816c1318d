"""Benches of the preparation: what taking a recording in costs beside a bare transcode to the same form."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.recording import Prepared
from tests.bench import rivals
from tests.bench.measured import Measured, cost, medians, proved, stamps_of
from tests.bench.stamped import HOUSE, filmed, place, shelf

FRAMES = 600
"""Twenty seconds."""


def ordinary(runs: int) -> Measured:
    """A recording as phones and capture cards make them: another group length, another encoder setting."""
    source = filmed(place() / "ordinary.mp4", FRAMES, 0)
    return _compared(source, FRAMES, runs)


def conforming(runs: int) -> Measured:
    """A recording that is in house form already."""
    on = shelf()
    name, prepared = next(iter(on.prepared.items()))
    source = place() / f"conforming-{name}.mp4"
    shutil.copyfile(on.library.picture(prepared.digest), source)
    return _compared(source, prepared.frames, runs)


def _compared(source: Path, frames: int, runs: int) -> Measured:
    theirs, pairs = place() / "transcoded.mp4", []
    for run in range(runs):
        rival = cost(lambda: rivals.transcode(source, theirs))
        made: list[Path] = []
        pairs.append((cost(lambda made=made: made.append(_prepared(source))), rival))  # type: ignore[misc]
        if not run:
            for whose, file in (("a bare transcode", theirs), ("the preparation", made[0])):
                proved(stamps_of(file), list(range(frames)), whose)
    ratio, ours, other = medians(pairs, "cpu")
    return Measured(ratio, runs, {"frames": frames, "ours_s": round(ours, 2), "rival_s": round(other, 2)})


def _prepared(source: Path) -> Path:
    """The prepared picture, in a library that has never seen the recording."""
    root = place() / "fresh"
    shutil.rmtree(root, ignore_errors=True)
    made: Prepared = prepare(source, HOUSE, Library(root))
    return Library(root).picture(made.digest)


Bench = Callable[[int], Measured]


def benches() -> list[tuple[str, Bench, int]]:
    """Name in the list of benches, what measures it, how often."""
    return [("prepare_cpu", ordinary, 3), ("prepare_conforming_cpu", conforming, 5)]
