"""Acceptance of stage 1, as a stranger would run it: one line `{"check", "value", "ok"}` per item.

`make accept-1` runs all; `ARGS=--no-clone` leaves out `make test` in a clean clone, which takes as long as the tests
do, and says so. Exit code 1 when any item is not ok. The shared media are looked for beside the repository.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from app.adapters.curricula import dump, load
from app.domain.curriculum import Curriculum
from app.domain.timecode import Rate
from sample_clips.simulator.keys import clip_of, drawn_truths
from tests.accept.lines import Item, report
from tests.adapters import video
from tests.adapters.video import Film, Sound
from tests.domain.samples import CARD, curriculum_data

ROOT = Path(__file__).resolve().parents[2]
SHARED = ROOT.parent / "shared"
CURRICULA = (ROOT / "curricula" / "saltmarsh-coast", ROOT / "curricula" / "dunes-court")


def pennon(data: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a command with its data in a folder of its own."""
    environment = os.environ | {"PENNON_DATA": str(data), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "app.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


def built(data: Path, folder: Path, lesson: str, out: Path) -> dict[str, Any]:
    """Build a lesson; its JSON line, or what was said on standard error."""
    done = pennon(data, "tape", "build", folder, lesson, "--out", out, "--json")
    if done.returncode:
        return {"error": done.stderr.strip()[:300]}
    line: dict[str, Any] = json.loads(done.stdout)
    return line


def on_grid(path: Path, rate: Rate) -> tuple[int, bool]:
    """Frames that decode, and whether every one stands where its number says."""
    with av.open(str(path)) as file:
        stream = file.streams.video[0]
        tick = stream.time_base or Fraction(1)
        times = [frame.pts * tick for frame in file.decode(stream) if frame.pts is not None]
    return len(times), all(time == rate.seconds(k) for k, time in enumerate(times))


# ------------------------------------------------------------------------------------------------- the items


def clean_clone(work: Path) -> Iterator[Item]:
    """`make test` from a clean clone with an empty home."""
    clone = work / "clone"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
    if SHARED.exists():
        (work / "shared").symlink_to(SHARED)
    home = work / "home"
    home.mkdir()
    environment = {"PATH": os.defpath + os.pathsep + os.environ["PATH"], "HOME": str(home), "CI": "true"}
    done = subprocess.run(["make", "test"], cwd=clone, env=environment, capture_output=True, text=True, check=False)
    closing = next((line for line in reversed(done.stdout.splitlines()) if " passed" in line), done.stderr[-300:])
    yield "make test passes from a clean clone", closing.strip(), done.returncode == 0


def lessons(work: Path) -> Iterator[Item]:
    """Every lesson of both curricula becomes a tape whose every frame stands on the grid."""
    for folder in CURRICULA:
        loaded = load(folder)
        for lesson in loaded.curriculum.lessons:
            out = work / f"{lesson.id}.mp4"
            line = built(work / "data", folder, lesson.id, out)
            value = line if "error" in line else {key: line[key] for key in ("frames", "duration_s", "bytes")}
            yield f"lesson {folder.name}/{lesson.id}", value, "error" not in line and _whole(line, out)


def _whole(line: dict[str, Any], out: Path) -> bool:
    frames, exact = on_grid(out, Rate.model_validate(line["rate"]))
    beside = all(Path(line[name]).stat().st_size > 0 for name in ("captions", "poster"))
    return exact and frames == line["frames"] and beside and bool(line["chapters"])


def mixed(work: Path) -> Iterator[Item]:
    """A lesson that shows sample plays and real footage, one after the other."""
    real = SHARED / "media" / "real"
    name = "a lesson that mixes sample plays with real footage"
    if not real.exists():
        yield name, "the shared media are not there", False
        return
    folder = work / "mixed"
    dump(_mixture(real, work / "media"), folder, media="../media")
    line = built(work / "data", folder, "mixture", work / "mixture.mp4")
    value = line if "error" in line else {key: line[key] for key in ("frames", "notes")}
    yield name, value, "error" not in line and _whole(line, work / "mixture.mp4")


def _mixture(real: Path, media: Path) -> Curriculum:
    """Football samples beside the real recordings, all in one folder of media."""
    sample = load(CURRICULA[0])
    media.mkdir()
    for path in [*sample.media.glob("*.mp4"), *real.glob("*.mp4")]:
        shutil.copyfile(path, media / path.name)
    data = sample.curriculum.model_dump(mode="json", by_alias=True)
    names = {"juggling": "football_juggling.mp4", "walk": "walk_action_camera.mp4"}
    data["recordings"] += [{"id": key, "file": file, "angle": "phone"} for key, file in names.items()]
    key = {"topic": "ball-out", "ruling": "no flag", "decisive": 60}
    data["clips"] += [
        {"id": f"real-{name}", "title": name, "views": [{"recording": name, "in": 10, "out": 200}], "keys": [key]}
        for name in names
    ]
    steps: list[dict[str, Any]] = [{"kind": "title", "title": "A mixture", "note": "Drawn plays and real ones."}]
    for clip in ("offside-01", "real-juggling", "real-walk", "ball-out-01"):
        steps += [{"kind": "run", "clip": clip}, {"kind": "freeze", "clip": clip, "frames": 40}]
    steps.append({"kind": "run", "clip": "real-walk", "speed": "1/4", "from": 30, "to": 60})
    data["lessons"] = [{"id": "mixture", "series": "Mixtures", "number": 1, "title": "A mixture", "steps": steps}]
    return Curriculum.model_validate(data)


def stamped(work: Path) -> Iterator[Item]:
    """A lesson of stamped recordings: every output frame is read, every beep is heard."""
    media = work / "stamped-media"
    media.mkdir()
    for name, rate in (("line", "30"), ("high", "30000/1001")):
        video.filmed(media / f"{name}.mp4", Film(frames=220, rate=rate, sounds=(Sound(220 / 30),)))
    folder = work / "stamped"
    dump(_stamped_lesson(), folder, media="../stamped-media")
    out = work / "stamped.mp4"
    line = built(work / "data", folder, "two-instants", out)
    if "error" in line:
        yield "a stamped lesson", line, False
        return
    due = [None] * 90 + list(range(30, 210)) + [80 + k // 4 for k in range(80)] + [150] * 60 + list(range(60, 180))
    seen = [video.read_stamp(picture) for picture in video.seen(out, 320, 180)]
    wrong = sum(a != b for a, b in zip(seen, due, strict=False)) + abs(len(seen) - len(due))
    yield "stamped lesson: frames wrong, lost, doubled", wrong, wrong == 0
    black = sum(int(picture.mean()) < 8 for picture in video.seen(out, 320, 180))
    yield "stamped lesson: black frames", black, black == 0
    yield from _sound(out)
    chapters = [(each["frame"], each["title"]) for each in line["chapters"]]
    yield "stamped lesson: chapters", chapters, chapters == [(0, "Two instants"), (350, "Then")]
    yield from _captions(Path(line["captions"]))


def _stamped_lesson() -> Curriculum:
    data = curriculum_data()
    data["lessons"][0]["steps"].append({"kind": "run", "clip": "offside-01", "from": 60, "to": 180})
    return Curriculum.model_validate(data)


def _sound(out: Path) -> Iterator[Item]:
    """Beeps mark whole seconds of the recording: frame 30 k of it, wherever that stands on the tape."""
    due = [(90 + frame - 30) / 30 for frame in range(30, 210, 30)] + [
        (410 + frame - 60) / 30 for frame in range(60, 180, 30)
    ]
    heard = video.beeps(video.heard(out))
    off = [min((abs(beep - time) for beep in heard), default=9.0) for time in due]
    worst = round(1000 * max(off), 1)
    yield "stamped lesson: sound off by at most 20 ms", f"{worst} ms over {len(due)} beeps", worst <= 20
    yield "stamped lesson: beeps heard where none is due", len(heard) - len(due), len(heard) == len(due)


def _captions(path: Path) -> Iterator[Item]:
    text = path.read_text(encoding="utf-8")
    times = re.findall(r"(\d\d:\d\d:\d\d\.\d{3}) --> (\d\d:\d\d:\d\d\.\d{3})", text)
    wanted = [("00:00:00.000", "00:00:03.000"), ("00:00:03.000", "00:00:09.000")]
    yield "stamped lesson: captions at their frames", times, times == wanted


def refusals(work: Path) -> Iterator[Item]:
    """Bad input: a message with its place, exit code not 0, nothing left behind."""
    cases: dict[str, tuple[Callable[[Path], None], str]] = {
        "broken TOML": (
            lambda at: _edit(at / "clips/offside.toml", "decisive = 100", "decisive = "),
            "clips/offside.toml:",
        ),
        "unknown clip": (
            lambda at: _edit(at / "lessons/two-instants.toml", '"offside-01"', '"offside-99"'),
            "lessons/two-instants.toml:",
        ),
        "in after out": (lambda at: _edit(at / "clips/offside.toml", "out = 210", "out = 20"), "clips/offside.toml:"),
        "empty file": (lambda at: _fill(at / "line.mp4", b""), "recordings.toml:"),
        "text named .mp4": (
            lambda at: _fill(at / "line.mp4", b"Dear league\n" * 9),
            "recordings.toml:",
        ),
        "playlist named .mp4": (
            lambda at: _fill(at / "line.mp4", b"#EXTM3U\n#EXTINF:9,\nhttp://127.0.0.1/a.ts\n"),
            "recordings.toml:",
        ),
    }
    for name, (spoil, place) in cases.items():
        yield _refused(work / name.replace(" ", "-"), work, name, spoil, place)


def _refused(folder: Path, work: Path, name: str, spoil: Callable[[Path], None], place: str) -> Item:
    dump(Curriculum.model_validate(curriculum_data()), folder, media=".")
    for recording in ("line", "high"):
        shutil.copyfile(work / "stamped-media" / f"{recording}.mp4", folder / f"{recording}.mp4")
    spoil(folder)
    out, data = folder / "out.mp4", folder.with_name(folder.name + "-data")
    done = pennon(data, "tape", "build", folder, "two-instants", "--out", out)
    left = [path.name for path in folder.glob("out*")] + [path.name for path in data.rglob("*.part")]
    told = done.stderr.strip().splitlines()
    ok = done.returncode == 1 and place in done.stderr and not left
    return f"refused: {name}", {"exit": done.returncode, "says": told[:1], "left": left}, ok


def _fill(path: Path, content: bytes) -> None:
    path.write_bytes(content)


def _edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text, path
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def samples(_: Path) -> Iterator[Item]:
    """The sample plays: how many, how balanced, how large, keyed from their truth."""
    truths = drawn_truths()
    clips = {clip.id: clip for folder in CURRICULA for clip in load(folder).curriculum.clips}
    sides = Counter((clip.topics[0], clip.keys[0].ruling.value) for clip in clips.values())
    table = {f"{topic}, {ruling}": count for (topic, ruling), count in sorted(sides.items())}
    wanted = {"offside": 10, "ball-out": 5, "goal": 5, "keeper": 4}
    balanced = all(sides[topic, "flag"] == sides[topic, "no flag"] >= half for topic, half in wanted.items())
    yield "sample plays by topic and side", table, balanced
    agree = [truth.name for truth in truths if clips.get(truth.name) != clip_of(truth)]
    yield "sample plays whose key is not that of their truth", agree, bool(truths) and not agree
    size = sum(
        path.stat().st_size for path in (ROOT / "sample_clips").rglob("*") if path.suffix in (".mp4", ".gz", ".py")
    )
    yield "sample plays: bytes committed", size, 0 < size <= 20_000_000
    high = sum("high" in truth.views for truth in truths)
    yield "sample plays with a high camera", f"{high} of {len(truths)}", 2 * high >= len(truths) > 0
    seconds = [truth.frames / 30 for truth in truths]
    yield "sample plays last 6 to 9 s", [min(seconds), max(seconds)], all(6 <= each <= 9 for each in seconds)


def round_trip(work: Path) -> Iterator[Item]:
    """Load, dump, load loses nothing."""
    for folder in CURRICULA:
        first = load(folder).curriculum
        dump(first, work / f"{folder.name}-again")
        same = load(work / f"{folder.name}-again").curriculum == first
        yield f"{folder.name}: load, dump, load", "the same" if same else "not the same", same
    assert CARD["id"] == "offside"


ITEMS = (samples, round_trip, lessons, mixed, stamped, refusals, clean_clone)


if __name__ == "__main__":
    report(__doc__, ITEMS, {clean_clone: "make test passes from a clean clone"})
