"""The clip that tries a phone is the one that is drawn, of the size of a check's clips, and light."""

from __future__ import annotations

import re
from pathlib import Path

import av
import numpy as np
import pytest

from app.adapters import phone
from app.web.render import TEMPLATES
from sample_clips.simulator import warm_up

pytestmark = pytest.mark.media


def test_each_frame_of_the_file_is_the_drawn_one() -> None:
    with av.open(str(warm_up.PATH)) as opened:
        assert [stream.type for stream in opened.streams] == ["video"]
        frames = [frame.to_ndarray(format="rgb24").astype(float) for frame in opened.decode(video=0)]
    assert len(frames) == warm_up.FRAMES
    for n in (0, 20, 40, 60, warm_up.STOPS, warm_up.FRAMES - 1):
        away = [np.abs(frames[k] - warm_up.picture(n)).mean() for k in range(len(frames))]
        assert away[n] < 4
        assert n > warm_up.STOPS - 10 or int(np.argmin(away)) == n


def test_it_is_like_the_clips_of_a_check_and_light() -> None:
    with av.open(str(warm_up.PATH)) as opened:
        coded = opened.streams.video[0].codec_context
        assert (coded.width, coded.height) == (phone.CLEAR.width, phone.CLEAR.height)
        assert coded.profile == "Main"
        assert opened.streams.video[0].average_rate == warm_up.RATE
    assert warm_up.PATH.stat().st_size < 40_000


def test_the_page_knows_its_length() -> None:
    page = Path(TEMPLATES / "check" / "look.html").read_text("utf-8")
    told = {name: int(value) for name, value in re.findall(r'data-(ms|frames)="(\d+)"', page)}
    assert told == {"ms": warm_up.FRAMES * 1000 // warm_up.RATE, "frames": warm_up.FRAMES}


def test_the_ball_rolls_to_the_line_and_stays() -> None:
    def middle(n: int) -> float:
        light = warm_up.picture(n).min(axis=2) > 200
        light[:, warm_up.LINE - 6 : warm_up.LINE + 7] = False
        return float(np.nonzero(light)[1].mean())

    places = [middle(n) for n in range(0, 60, 10)]
    assert places == sorted(places)
    assert np.array_equal(warm_up.picture(warm_up.STOPS), warm_up.picture(warm_up.FRAMES - 1))
