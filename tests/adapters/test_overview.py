"""A recording at a glance: each small picture is the frame it says it is, the sound is as loud as it was."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.adapters import overview as module
from app.adapters.files import Library
from app.adapters.overview import CELL_H, CELL_W, COLUMNS, overview
from app.adapters.prepare import prepare
from app.domain.recording import House, Prepared
from app.domain.timecode import Rate
from tests.adapters.video import Film, Sound, filmed

HOUSE = House(width=640, height=360, rate=Rate(num=30))

pytestmark = pytest.mark.media


def prepared(tmp_path: Path, **film: object) -> tuple[Prepared, Library]:
    library = Library(tmp_path / "library")
    return prepare(filmed(tmp_path / "a.mp4", Film(rate="30", **film)), HOUSE, library), library  # type: ignore[arg-type]


@pytest.mark.parametrize("most", [240, 3])
def test_each_cell_is_the_frame_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int) -> None:
    monkeypatch.setattr(module, "MOST_CELLS", most)
    made, library = prepared(tmp_path, frames=200)
    overview(made, library)
    told = json.loads(library.glance(made.digest).read_bytes())
    assert told["at"] == list(range(0, 200, 30))[:: 1 if most == 240 else 3]
    sheet = Image.open(library.strip(made.digest)).convert("L")
    assert sheet.size == (CELL_W * COLUMNS, CELL_H)
    wholes = [_frame(library, made, frame) for frame in told["at"]]
    for k in range(len(wholes)):
        cell = np.asarray(sheet.crop((k * CELL_W, 0, (k + 1) * CELL_W, CELL_H)), float)
        apart = [float(np.abs(cell - whole).mean()) for whole in wholes]
        assert int(np.argmin(apart)) == k
        assert apart[k] < 6


def _frame(library: Library, made: Prepared, frame: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    from app.adapters.frame import frame as exact

    picture = Image.fromarray(exact(library.picture(made.digest), frame)).convert("L")
    return np.asarray(picture.resize((CELL_W, CELL_H), Image.Resampling.BOX), float)


def test_the_sound_is_loud_where_it_was(tmp_path: Path) -> None:
    made, library = prepared(tmp_path, frames=90, sounds=(Sound(3.0),))
    overview(made, library)
    peaks = json.loads(library.glance(made.digest).read_bytes())["peaks"]
    assert 1000 < len(peaks) <= module.PEAKS
    assert max(peaks) > 60


def test_without_sound_there_are_no_peaks_and_a_second_time_nothing_is_made(tmp_path: Path) -> None:
    made, library = prepared(tmp_path, frames=40, sounds=())
    overview(made, library)
    assert json.loads(library.glance(made.digest).read_bytes())["peaks"] == []
    before = library.strip(made.digest).stat().st_mtime_ns
    overview(made, library)
    assert library.strip(made.digest).stat().st_mtime_ns == before
