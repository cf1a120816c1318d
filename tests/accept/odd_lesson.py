"""Sixty steps of all kinds drawn by chance from odd recordings, and what a tape of them must show and sound like.

What is due is told here from the meaning of each step as the documents give it, frame by frame, and owes nothing to
the planner that is judged by it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from app.domain.curriculum import Curriculum
from app.domain.recording import House
from tests.accept.odd_films import PANEL, SECONDS, Odd
from tests.domain.samples import clip, curriculum_data

SPEEDS = ("1/2", "1/4", "2", "3/2", "2/3", "1/8", "3", "4/7")
KINDS = {"title": 4, "run": 14, "paced": 10, "loop": 6, "freeze": 7, "look-alikes": 6, "question": 6,
         "zoomed run": 4, "zoomed freeze": 3}  # fmt: skip
VOICE = "voice.wav"
VOICE_SAMPLES, VOICE_FROM, VOICE_UNTIL = 110_000, 9_600, 100_000
"""Samples at 48 kHz: of the voice note, and where in it somebody speaks."""
LONG = "Level is level: look at the line first, then at the ball, then at the hip of the last defender but one."
DECISIVE = 100

Window = tuple[float, float, float, float]
"""Left, top, width, height in pixels of the house."""


@dataclass(frozen=True)
class Seen:
    """What one frame of the tape shows: frames of recordings (none on a card), the part of it, what lies over it.

    `masked`: the panel of grain is unreadable; `asked`: a question stands at the foot.
    """

    frames: tuple[tuple[str, int], ...] = ()
    window: Window | None = None
    masked: bool = False
    asked: bool = False


@dataclass(frozen=True)
class Heard:
    """Frames `first` to `first + frames` of a recording are heard from frame `at` of the tape on."""

    name: str
    first: int
    at: int
    frames: int


@dataclass(frozen=True)
class Told:
    """A step as it is written, the frames that it must show, and what is heard: (at, recording, first, frames).

    `waits`: what stands while more is said than there is to see, where that is not the last frame shown: of a pair,
    each side comes to its own last frame and waits there.
    """

    step: dict[str, Any]
    seen: tuple[Seen, ...]
    heard: tuple[tuple[int, str, int, int], ...] = ()
    waits: Seen | None = None


@dataclass(frozen=True)
class Board:
    """A whole lesson. `voices`: the frames of the tape at which the voice note begins."""

    curriculum: Curriculum
    seen: tuple[Seen, ...]
    heard: tuple[Heard, ...]
    voices: tuple[int, ...]
    kinds: tuple[str, ...]


class Author:
    """Draws steps. One for each lesson, because whatever it does comes from its chance."""

    def __init__(self, films: Sequence[Odd], house: House, seed: int) -> None:
        self._films = {film.name: film for film in films}
        self._house, self._chance = house, random.Random(seed)
        self._last = int((SECONDS - 1) * house.rate.fraction)
        self._ended: tuple[str, int] | None = None

    def board(self) -> Board:
        """The lesson."""
        names = [kind for kind, count in KINDS.items() for _ in range(count)]
        self._chance.shuffle(names)
        runs = [number for number, name in enumerate(names) if name == "run"]
        spoken = {*self._chance.sample(runs, 4), *self._chance.sample(range(len(names)), 4)}
        told = [self._held(self._drawn(name), number in spoken) for number, name in enumerate(names)]
        seen: list[Seen] = []
        heard: list[Heard] = []
        voices: list[int] = []
        for each in told:
            voices += [len(seen)] if "voice" in each.step else []
            heard += [Heard(name, first, len(seen) + at, frames) for at, name, first, frames in each.heard]
            seen += each.seen
        return Board(self._curriculum(told), tuple(seen), tuple(heard), tuple(voices), tuple(names))

    def _curriculum(self, told: Sequence[Told]) -> Curriculum:
        end = self._last + 1
        recordings = [{"id": film.name, "file": film.path.name, "angle": "any"} for film in self._films.values()]
        key = {"topic": "offside", "ruling": "no flag", "decisive": DECISIVE}
        clips = [
            clip(
                f"clip-{name}", views=[{"recording": name, "in": 0, "out": end}], keys=[key], reveal=end - 1, game=None
            )
            for name in self._films
        ]
        lesson = {"id": "odd", "series": "Odd", "number": 1, "title": "Sixty steps", "steps": [e.step for e in told]}
        data = curriculum_data(recordings=recordings, clips=clips, lessons=[lesson], quiz_plans=[], policies=[])
        data["about"]["house"] = self._house.model_dump(mode="json")
        return Curriculum.model_validate(data)

    def _drawn(self, name: str) -> Told:
        draw: dict[str, Callable[[], Told]] = {
            "title": self._title, "run": self._run, "paced": self._paced, "loop": self._loop, "freeze": self._freeze,
            "look-alikes": self._pair, "question": self._question, "zoomed run": self._zoomed_run,
            "zoomed freeze": self._zoomed_freeze,
        }  # fmt: skip
        told = draw[name]()
        if name != "run":
            self._ended = None
        return told

    def _held(self, told: Told, spoken: bool) -> Told:
        """With a note, and the last frame held for as long as its voice takes, or who reads it needs."""
        note = LONG[: self._chance.choice((0, 20, len(LONG)))].strip()
        rate = self._house.rate.fraction
        needed = math.ceil(len(note) * rate / 15)
        step = {**told.step, "note": note}
        if spoken:
            step["voice"] = VOICE
            needed = math.ceil((VOICE_SAMPLES + 2048) * rate / 48_000)
        if needed > len(told.seen):
            self._ended = None
        held = told.waits or told.seen[-1]
        return replace(told, step=step, seen=told.seen + (held,) * (needed - len(told.seen)))

    # ------------------------------------------------------------------------------------------ the kinds of step

    def _title(self) -> Told:
        frames = self._chance.choice((1, 5, 24, 60))
        return Told({"kind": "title", "title": "What the line shows", "frames": frames}, (Seen(),) * frames)

    def _run(self) -> Told:
        """At full speed from just before a beep on; now and then without a cut from where the one before ended."""
        name = self._chance.choice(list(self._films))
        rate = self._house.rate.fraction
        second = math.ceil(self._chance.randint(2, SECONDS - 4) * rate)
        first, end = second - self._chance.randint(2, 12), second + self._chance.randint(math.ceil(rate / 4), 60)
        if self._ended and self._chance.random() < 0.5 and self._ended[1] + 30 < self._last:
            name, first = self._ended
            end = self._chance.randint(first + 5, min(first + 75, self._last))
        self._ended = (name, end)
        return self._moving({"kind": "run"}, name, first, end, Fraction(1))

    def _paced(self) -> Told:
        speed = Fraction(self._chance.choice(SPEEDS))
        name, first, end = self._stretch(max(2, int(20 * speed)), int(60 * speed) + 3)
        return self._moving({"kind": "run"}, name, first, end, speed)

    def _loop(self) -> Told:
        times, speed = self._chance.randint(2, 4), Fraction(self._chance.choice(("1", "1", "1/2", "3/2")))
        name, first, end = self._stretch(6, 32)
        once = self._moving({"kind": "loop", "times": times}, name, first, end, speed)
        heard = tuple((turn * len(once.seen), name, first, end - first) for turn in range(times) if once.heard)
        return replace(once, seen=once.seen * times, heard=heard)

    def _freeze(self) -> Told:
        name, frames = self._chance.choice(list(self._films)), self._chance.choice((1, 7, 60, 95))
        at, shown = self._chance.choice((("decisive", DECISIVE), (self._last, self._last), (0, 0), (77, 77)))
        masks, hidden = self._masks(name, shown, shown + 1)
        step = {"kind": "freeze", "clip": f"clip-{name}", "at": at, "frames": frames, "masks": masks}
        return Told(step, (Seen(((name, shown),), masked=hidden(shown)),) * frames)

    def _question(self) -> Told:
        name, first, end = self._stretch(25, 70)
        at, frames = self._chance.randint(first, end - 2), self._chance.choice((10, 60, 90))
        speed = Fraction(self._chance.choice(("1", "1", "1/2")))
        masks, hidden = self._masks(name, first, end)
        step = {"kind": "question", "question": "Flag, or no flag?", "at": at, "frames": frames, "masks": masks}
        before = self._moving(step, name, first, at + 1, speed, masks, hidden)
        after = self._moving({}, name, at + 1, end, speed, masks, hidden)
        held = (Seen(((name, at),), masked=hidden(at), asked=True),) * frames
        later = tuple((len(before.seen) + frames + where, *rest) for where, *rest in after.heard)
        step = {**before.step, "to": end}
        return Told(step, before.seen + held + after.seen, before.heard + later)  # type: ignore[operator]

    def _pair(self) -> Told:
        """Frames of life count from the marks; before a side begins and after it ends it stands still."""
        sides = [self._stretch(15, 50) for _ in range(2)]
        marks = [self._chance.randint(first, end - 1) for _, first, end in sides]
        speed = Fraction(self._chance.choice(("1", "1/2", "3/2")))
        begins = min(first - mark for (_, first, _), mark in zip(sides, marks, strict=True))
        ends = max(end - mark for (_, _, end), mark in zip(sides, marks, strict=True))
        seen = [
            Seen(tuple((name, min(max(mark + begins + life, first), end - 1))
                       for (name, first, end), mark in zip(sides, marks, strict=True)))
            for life in self._slots(ends - begins, speed)
        ]  # fmt: skip
        written = [
            {"clip": f"clip-{name}", "from": first, "to": end, "at": mark, "label": f"At {mark}"}
            for (name, first, end), mark in zip(sides, marks, strict=True)
        ]
        step = {"kind": "look-alikes", "left": written[0], "right": written[1], "speed": str(speed)}
        return Told(step, tuple(seen), waits=Seen(tuple((name, end - 1) for name, _, end in sides)))

    def _zoomed_run(self) -> Told:
        name, first, end = self._stretch(20, 60)
        speed = Fraction(self._chance.choice(("1", "1", "1/2", "3/2")))
        told = self._moving({"kind": "run"}, name, first, end, speed, [], lambda _frame: False)
        return self._through_window(told)

    def _zoomed_freeze(self) -> Told:
        name, frames = self._chance.choice(list(self._films)), self._chance.choice((20, 70, 100))
        at = self._chance.randrange(self._last)
        step = {"kind": "freeze", "clip": f"clip-{name}", "at": at, "frames": frames}
        return self._through_window(Told(step, (Seen(((name, at),)),) * frames))

    # ------------------------------------------------------------------------------------------ what they are made of

    def _stretch(self, shortest: int, longest: int) -> tuple[str, int, int]:
        name = self._chance.choice(list(self._films))
        frames = self._chance.randint(shortest, min(longest, self._last - 1))
        first = self._chance.randint(0, self._last - frames)
        return name, first, first + frames

    def _slots(self, frames: int, speed: Fraction) -> list[int]:
        """Which of so many frames stands in each slot: the one that is due then, until none is left."""
        due: list[int] = []
        while int(len(due) * speed) < frames:
            due.append(int(len(due) * speed))
        return due

    def _moving(
        self,
        step: dict[str, Any],
        name: str,
        first: int,
        end: int,
        speed: Fraction,
        masks: list[dict[str, Any]] | None = None,
        hidden: Callable[[int], bool] | None = None,
    ) -> Told:
        if masks is None or hidden is None:
            masks, hidden = self._masks(name, first, end)
        seen = tuple(Seen(((name, first + slot),), masked=hidden(first + slot))
                     for slot in self._slots(end - first, speed))  # fmt: skip
        written = {**step, "clip": f"clip-{name}", "from": first, "to": end, "speed": str(speed)}
        written |= {"masks": masks} if masks else {}
        return Told(written, seen, ((0, name, first, end - first),) if speed == 1 else ())

    def _masks(self, name: str, first: int, end: int) -> tuple[list[dict[str, Any]], Callable[[int], bool]]:
        """Now and then a box over the grain, for a part of what is shown, or throughout."""
        if self._chance.random() > 0.35:
            return [], lambda _frame: False
        left, top, width, height = self.panel(self._films[name])
        box: dict[str, Any] = {"left": left, "top": top, "width": width, "height": height}
        if self._chance.random() < 0.4:
            return [box], lambda _frame: True
        begins = self._chance.randint(first, end - 1)
        ends = self._chance.randint(begins + 1, end)
        return [{**box, "from": begins, "to": ends}], lambda frame: begins <= frame < ends

    def panel(self, film: Odd) -> tuple[int, int, int, int]:
        """The panel of grain on the house picture, with a rim of some pixels, on even ones."""
        left, top, width, height = film.area(self._house)
        x, y = left + PANEL[0] * width - 3, top + PANEL[1] * height - 3
        right, foot = left + (PANEL[0] + PANEL[2]) * width + 3, top + (PANEL[1] + PANEL[3]) * height + 3
        x, y = int(x) // 2 * 2, int(y) // 2 * 2
        return x, y, math.ceil((right - x) / 2) * 2, math.ceil((foot - y) / 2) * 2

    def _through_window(self, told: Told) -> Told:
        """A part of the picture, on half of the steps one that glides from the first frame to the last."""
        area = self._films[told.seen[0].frames[0][0]].area(self._house)
        first, last = self._box(area), self._box(area)
        zoom: dict[str, Any] = dict(zip(("left", "top", "width", "height"), first, strict=True))
        if self._chance.random() < 0.5:
            zoom["moves_to"] = dict(zip(("left", "top", "width", "height"), last, strict=True))
        else:
            last = first
        share = [slot / max(1, len(told.seen) - 1) for slot in range(len(told.seen))]
        windows = [tuple(a + (b - a) * part for a, b in zip(first, last, strict=True)) for part in share]
        seen = tuple(replace(each, window=window) for each, window in zip(told.seen, windows, strict=True))  # type: ignore[arg-type]
        return replace(told, step={**told.step, "zoom": zoom}, seen=seen)

    def _box(self, area: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
        """A window whose middle lies in the picture, not in the black beside it."""
        house = self._house
        width = 2 * round(house.width * self._chance.uniform(0.3, 0.7) / 2)
        height = 2 * round(width * house.height / house.width / 2)
        x, y = (self._chance.uniform(begin, begin + side) for begin, side in zip(area[:2], area[2:], strict=True))
        left, top = min(max(0, x - width / 2), house.width - width), min(max(0, y - height / 2), house.height - height)
        return int(left) // 2 * 2, int(top) // 2 * 2, width, height
