"""Acceptance of stage 3: any recording in, an exact tape out, fast. One line `{"check", "value", "ok"}` per item.

`make accept-3` runs all; `ARGS="--only lesson"` picks items (inputs, stamps, lesson, benches, kills, large, full),
`ARGS="--seed N"` draws another lesson of other recordings, `KILLS=20` kills less often. Exit code 1 when any item is
not ok. The shared media are looked for beside the repository.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import wave
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from app.actions.recording import Received
from app.actions.tape import build_tape
from app.adapters.curricula import dump, load
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.recording import House
from tests.accept import hearing, odd_films, seeing
from tests.accept.accept_1 import built, on_grid, pennon
from tests.accept.lines import Item, report
from tests.accept.odd_lesson import VOICE, Author, Board
from tests.accept.seeing import Filmed
from tests.accept.seeking import seeks
from tests.adapters import manifest, video
from tests.bench.run import lines as measured
from tests.fault.full_disk import filled_up
from tests.fault.large import killed_twice

ROOT = Path(__file__).resolve().parents[2]
LARGE = 300_000_000
KILLS, SEED = int(os.environ.get("KILLS", "100")), 1
POINTS, SEEKS = 24, 40
STITCHED_MS, CONTINUOUS_MS = 11.0, 3.0
"""How far sound may be off: where it stands at the nearest packet, and where it is exact. A codec blurs where a beep
begins by about two milliseconds, before us and by us."""
BENCHES = (
    "tape_cold_cpu", "tape_cold_wall_moviepy", "tape_change_one_of_12", "tape_change_one_of_60", "tape_reorder_60",
    "tape_memory_x10", "prepare_cpu", "prepare_conforming_cpu", "range_requests", "upload_bytes_written",
)  # fmt: skip


# ------------------------------------------------------------------------------------------------- odd uploads


def inputs(work: Path) -> Iterator[Item]:
    """Every file of the manifest through the command line: verdict, source, each prepared picture, sound."""
    files = {entry["file"]: entry for entry in manifest.entries()}
    if not files:
        yield "recording add of the shared inputs", "the shared media are not there", False
        return
    told, code = _added(work / "inputs", [manifest.SHARED / name for name in files])
    yield "recording add: a line for each file, exit code 1", [len(told), code], (len(told), code) == (len(files), 1)
    wrong = {line.file: why for line in told if (why := _unlike(line, files[line.file]))}
    yield f"recording add: files unlike the manifest, of {len(files)}", wrong, not wrong
    parts = [path.name for path in (work / "inputs").rglob("*.part")]
    yield "recording add: half-made files left", parts, not parts


def _added(data: Path, files: Sequence[Path]) -> tuple[list[Received], int]:
    os.environ["PENNON_HOUSE"] = f"{manifest.HOUSE.width}x{manifest.HOUSE.height}@{manifest.HOUSE.rate.num}"
    done = pennon(data, "recording", "add", *files, "--json")
    return [Received.model_validate_json(line) for line in done.stdout.splitlines()], done.returncode


def _unlike(line: Received, entry: dict[str, Any]) -> str:
    """What of a line does not fit its entry; empty when all does."""
    verdict = {"accept": ("accepted",), "reject": ("rejected",), "either": ("accepted", "rejected")}
    if line.verdict not in verdict[entry["expected"]["verdict"]]:
        return f"{line.verdict}: {line.reason}"
    if line.verdict == "rejected":
        nothing = line.source is None and line.prepared is None
        return "" if nothing and (line.reason or "").endswith(".") else f"refused with {line.reason}"
    try:
        manifest.check_source(line, entry["expected"])
        manifest.check_pictures(line, entry)
        manifest.check_sound(line)
    except AssertionError as error:
        return f"not as the manifest says: {error} {line.source}"
    return ""


def stamps(work: Path) -> Iterator[Item]:
    """`pennon frame` of every file that can be a recording: the first two pictures, two of the middle, the last."""
    asked = [(entry, k) for entry in manifest.entries() if entry["expected"]["verdict"] == "accept"
             and entry["file"] not in manifest.DAMAGED for k in _frames(entry)]  # fmt: skip
    with ThreadPoolExecutor(2) as pool:
        wrong = [fault for fault in pool.map(lambda each: _misread(work, *each), asked) if fault]
    yield f"pennon frame: stamps that are not the manifest's, of {len(asked)}", wrong, bool(asked) and not wrong


def _frames(entry: dict[str, Any]) -> list[int]:
    count = entry["expected"]["frames"]
    return sorted({0, 1, count // 3, count // 2, count - 1})


def _misread(work: Path, entry: dict[str, Any], k: int) -> str:
    out, (width, height) = work / f"{entry['file']}-{k}.png", _shown(entry)
    done = pennon(work / "frames", "frame", manifest.SHARED / entry["file"], "--at", str(k), "--out", out)
    if done.returncode:
        return f"{entry['file']} {k}: {done.stderr.strip()}"
    with Image.open(out) as picture:
        read, size = video.read_stamp(np.asarray(picture.convert("RGB"))), picture.size
    expected = entry["expected"]
    first, fields = expected["stamps"][0], 2 if entry["kind"] == "interlaced" else 1
    due = [expected["timeline"][k][1]] if expected["timeline"] else range(first + fields * k, first + fields * (k + 1))
    return "" if read in due and size == (width, height) else f"{entry['file']} {k}: shows {read} at {size}"


def _shown(entry: dict[str, Any]) -> tuple[int, int]:
    return entry["expected"]["display_width"], entry["expected"]["display_height"]


# ------------------------------------------------------------------------------------------------- sixty steps


def lesson(work: Path, seed: int = SEED) -> Iterator[Item]:
    """Sixty steps of three odd recordings, as a draft and as an edition that is published."""
    folder = work / f"odd-{seed}"
    folder.mkdir()
    house, films = odd_films.house_of(seed), odd_films.filmed(folder / "media", seed)
    board = Author(films, house, seed).board()
    _spoken(folder / "media" / VOICE)
    dump(board.curriculum, folder / "curriculum", media="../media")
    line = built(folder / "data", folder / "curriculum", "odd", folder / "draft.mp4")
    about = {"seed": seed, "house": str(house), **{film.name: film.about for film in films}}
    yield "sixty steps: built", {**about, **line} if "error" in line else about, line.get("frames") == len(board.seen)
    library = Library(folder / "data")
    shots = {film.name: _looked_at(film, house, library) for film in films}
    untrue = [fault for shot in shots.values() for fault in seeing.untrue(shot, house)]
    yield "prepared recordings: frames that were not filmed then", untrue[:5], not untrue
    yield from _judged("draft", folder / "draft.mp4", board, shots, house, STITCHED_MS)
    value = load(folder / "curriculum")
    build_tape(value.curriculum, "odd", value.media, library, folder / "edition.mp4", continuous=True)
    yield from _judged("edition", folder / "edition.mp4", board, shots, house, CONTINUOUS_MS)
    yield from _sought(folder / "edition.mp4", board, shots, house, seed)


def _spoken(path: Path) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(hearing.HERTZ)
        file.writeframes((hearing.voiced() * 32_767).astype("<i2").tobytes())


def _looked_at(film: odd_films.Odd, house: House, library: Library) -> Filmed:
    return seeing.filmed(film, library.picture(prepare(film.path, house, library).digest), house)


def _judged(
    what: str, tape: Path, board: Board, shots: dict[str, Filmed], house: House, limit_ms: float
) -> Iterator[Item]:
    found = seeing.judged(tape, board.seen, shots, house)
    faults = {"of": found.frames, **found.faults, **({"first": found.first} if found.first else {})}
    yield f"{what}: frames wrong, doubled, lost, black", faults, found.frames == len(board.seen) and not found.faults
    grid = on_grid(tape, house.rate)
    yield f"{what}: frames on the grid", grid, grid == (len(board.seen), True)
    films = {name: shot.film for name, shot in shots.items()}
    heard = hearing.listened(video.heard(tape), board, films, house.rate)
    told = f"{heard.worst_ms:.1f} ms at {len(heard.points)} beeps and {len(heard.voices)} voices"
    yield f"{what}: sound off by at most {limit_ms:.0f} ms", told, heard.worst_ms <= limit_ms and heard.enough(POINTS)
    yield f"{what}: drift from first to last, ms", round(heard.drift_ms, 2), abs(heard.drift_ms) <= limit_ms
    yield f"{what}: beeps where none is due, s", heard.strange, not heard.strange
    yield f"{what}: game softer under a voice, dB", round(heard.ducked_db, 1), heard.ducked_db >= 6


def _sought(tape: Path, board: Board, shots: dict[str, Filmed], house: House, seed: int) -> Iterator[Item]:
    plain = [k for k, seen in enumerate(board.seen) if len(seen.frames) == 1 and not (seen.window or seen.asked)]
    asked = random.Random(seed).sample(plain, SEEKS)
    off = []
    for frame, (shown, time, picture) in zip(asked, seeks(tape, asked, house), strict=True):
        name, source = board.seen[frame].frames[0]
        left, top, width, height = shots[name].area
        read, due = video.read_stamp(picture[top : top + height, left : left + width]), shots[name].stamps[source]
        if (shown, read) != (frame, due) or abs(Fraction(time) - house.rate.seconds(frame)) > Fraction(1, 10_000):
            off.append([frame, shown, read, due])
    yield f"edition: seeks in Chromium that land elsewhere, of {SEEKS}", off, not off


# ------------------------------------------------------------------------------------------------- costs and kills


def benches(_: Path) -> Iterator[Item]:
    """The named benches at their gates; how far the aim is."""
    for line in measured(list(BENCHES), None):
        value = {key: line[key] for key in ("value", "gate", "aim", "detail")}
        if line["value"] is not None:
            value["of_aim"] = round(line["value"] / line["aim"], 2)
        yield f"bench {line['bench']}", value, line["ok"] is True


def kills(_: Path) -> Iterator[Item]:
    """What is killed at named points and at random goes on, and nothing acknowledged is lost."""
    command = ["make", "fault", f"KILLS={KILLS}", f"SEED={SEED}"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    try:
        told = json.loads(done.stdout.splitlines()[-1])
    except (IndexError, ValueError):
        told = {"error": done.stderr.strip()[-300:]}
    clean = all(told.get(key) == 0 for key in ("lost", "orphans", "parts")) and told.get("kills", 0) >= KILLS
    yield f"{KILLS} kills of upload, preparation, build", told, done.returncode == 0 and clean


def large(work: Path) -> Iterator[Item]:
    """A file of 300 MB whose server is killed twice is the same, and memory does not grow with it."""
    folder = work / "large"
    folder.mkdir()
    sent = killed_twice(folder, LARGE)
    yield "300 MB sent, the server killed twice", asdict(sent), sent.is_good


def full(work: Path) -> Iterator[Item]:
    """Work on a disk that runs full says so, loses nothing, and goes on once there is room."""
    folder = work / "full"
    folder.mkdir()
    try:
        for each in filled_up(folder):
            yield f"the disk is full, then has room again: {each.story}", asdict(each), each.is_good
    except (PermissionError, FileNotFoundError) as error:
        yield "the disk is full, then has room again", f"no small disk can be mounted here: {error}", False


if __name__ == "__main__":
    report(__doc__, (inputs, stamps, lesson, benches, kills, large, full), {}, {lesson: SEED})
