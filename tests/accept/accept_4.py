"""Acceptance of stage 4: one look, seconds to decide, and why. One line `{"check", "value", "ok"}` per item.

`make accept-4` runs all; `ARGS="--only leaks"` picks items (network, vectors, properties, leaks, cuts, crowd, kills,
benches, access), `KILLS=20` says in how many runs the server is killed. Exit code 1 when any item is not ok. Real
footage is looked for beside the repository; without it that item is not ok. Whether a phone cut is still legible needs
eyes besides: `ARGS="--only cuts"` says how like its recording each is at least.
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from app.adapters.files import Library
from app.adapters.phone import MOST
from app.domain.answer import TimingPolicy, judge
from app.domain.recording import House
from tests.accept import passing, phone_cuts
from tests.accept.lines import Item, report
from tests.bench.run import lines as measured

ROOT = Path(__file__).resolve().parents[2]
VECTORS = ROOT / "tests" / "domain" / "timing-vectors.json"
SHARED = ROOT.parent / "shared" / "design" / "data" / VECTORS.name
KILLS = int(os.environ.get("KILLS", "20"))
ALIKE = 0.7
"""How like its recording a phone cut must be. Leaves and grass that are squeezed to blocks come to less than 0.65."""
LEAKS: dict[str, list[str]] = {
    "1, names are random": [
        "tests/web/test_checks.py::test_the_addresses_of_two_officials_have_nothing_in_common",
        "tests/web/test_media.py::test_an_address_is_the_same_within_the_hour_and_names_nothing",
    ],
    "2, nothing of the source in any cut": [
        "tests/adapters/test_phone.py::test_no_kind_of_cut_carries_anything_of_its_source",
        "tests/adapters/test_phone.py::test_the_headers_of_two_cuts_differ_in_nothing_but_their_pictures",
    ],
    "3, length and what is fetched ahead": [
        "tests/domain/test_guessing.py::test_the_lengths_of_either_side_come_from_one_distribution",
        "tests/domain/test_guard.py::test_the_length_after_the_decisive_moment_depends_on_the_seed_alone",
        "tests/web/test_crawl.py::test_the_page_of_a_check_shows_and_fetches_nothing_by_itself",
    ],
    "4, a crawl of everything a session can fetch": ["tests/web/test_crawl.py", "tests/web/test_leaks.py"],
    "5, silent from the decisive moment on": [
        "tests/adapters/test_phone.py::test_it_is_heard_up_to_the_decisive_moment_and_silent_from_there_on",
        "tests/adapters/test_phone.py::test_a_cut_of_a_recording_without_sound_is_as_the_others_of_its_topic",
        "tests/domain/test_guard.py::test_sound_ends_at_the_decisive_moment_on_either_side_and_is_left_out_without_a_cue",
    ],
    "6, nothing from the reveal on, and hidden parts": [
        "tests/adapters/test_phone.py::test_every_kind_shows_its_frames_and_the_last_is_held",
        "tests/adapters/test_phone.py::test_around_what_is_hidden_the_picture_is_as_it_was",
        "tests/domain/test_guard.py",
        "tests/web/test_clip_quiz.py",
    ],
    "7, order and share": [
        "tests/domain/test_guessing.py",
        "tests/domain/test_sequence.py::test_either_side_has_40_to_60_in_100_of_any_sitting",
        "tests/domain/test_quiz.py::test_a_quiz_is_drawn_within_its_plan_or_refused",
    ],
}  # fmt: skip
BENCHES = (
    "answer_cpu", "answer_rps_50", "answer_rps_50_full", "answer_p99_300", "answer_rps_beside_build",
    "answer_rps_postgresql", "forms_seconds", "quiz_page_kb", "first_clip_s_slow_4g",
)  # fmt: skip
ACCESS = (
    ("every page: axe, 360 px, names, in light and dark", ["tests/browser/test_pages.py"]),
    ("every view of a look and of each question", ["tests/browser/test_look.py"]),
    ("a check by keyboard alone", ["tests/browser/test_check.py", "-k", "keyboard"]),
    ("a check by touch, upright and on its side", ["tests/browser/test_check.py", "-k", "not keyboard"]),
    ("a review quiz on a phone", ["tests/browser/test_review.py"]),
)


# ------------------------------------------------------------------------------------------- what tests hold


def network(work: Path) -> Iterator[Item]:
    """A check of twelve by touch, slow 4G: three cuts, a reload, a killed tab; and offline to the end."""
    yield from passing.item("a check of twelve on a bad network", work, ["tests/browser/test_network.py"])
    yield from passing.item("kept without the network, sent later", work, ["tests/web/test_fair_checks.py"])


def vectors(work: Path) -> Iterator[Item]:
    """Every shared vector by the program itself, the copy against the shared file, and the test that uses them all."""
    told = json.loads(VECTORS.read_text("utf-8"))
    wrong = [case["name"] for case in told["cases"] if _judged(told["policy"], case) != case["verdict"]]
    yield f"timing vectors judged otherwise, of {len(told['cases'])}", wrong, len(told["cases"]) > 0 and not wrong
    same = SHARED.exists() and SHARED.read_bytes() == VECTORS.read_bytes()
    yield "the copy is the shared file", same if SHARED.exists() else "the shared file is not there", same
    found = passing.ran(work, ["tests/domain/test_timing.py"], "-k", "shared_vectors")
    yield "tests: every vector is one", found.told(), found.is_good and found.passed == len(told["cases"])


def _judged(policy: dict[str, Any], case: dict[str, Any]) -> str:
    numbers = {name: value for name, value in case.items() if name not in ("name", "verdict")}
    return judge(TimingPolicy.model_validate(policy), **numbers).verdict.value


def properties(work: Path) -> Iterator[Item]:
    """Replayed, duplicated, reordered, forged and foreign requests; a page out of sight."""
    yield from passing.item("a check as a machine of states", work, ["tests/store/test_check_states.py"])
    yield from passing.item("the same over HTTP", work, ["tests/web/test_replays.py", "tests/web/test_checks.py"])
    yield from passing.item("out of sight twice is no answer", work, ["tests/store"], "-k", "out_of_sight or hidden")


def leaks(work: Path) -> Iterator[Item]:
    """Each of the seven ways in which an answer could be told."""
    for what, tests in LEAKS.items():
        yield from passing.item(f"leak {what}", work, tests)


def access(work: Path) -> Iterator[Item]:
    """axe, names for screen readers, the keyboard alone."""
    for what, tests in ACCESS:
        yield from passing.item(what, work, tests)


# ------------------------------------------------------------------------------------------- phone cuts


def cuts(work: Path) -> Iterator[Item]:
    """Seven seconds of every recording."""
    library = Library(work / "cuts")
    for what, paths, house in (
        ("sample recordings", phone_cuts.sample_recordings(), phone_cuts.SMALL_HOUSE),
        ("recordings of real cameras", phone_cuts.real_recordings(), phone_cuts.LARGE_HOUSE),
    ):
        yield from _cut(what, paths, house, library)


def _cut(what: str, paths: list[Path], house: House, library: Library) -> Iterator[Item]:
    made = [each for path in paths for each in phone_cuts.cuts_of(path, house, library)]
    if not made:
        yield f"phone cuts of {what}", "there are none here", False
        return
    large, odd = max(made, key=lambda each: each.size), min(made, key=lambda each: each.like)
    sizes = sorted({f"{each.width}x{each.height}" for each in made})
    told = {"cuts": len(made), "recordings": len(paths), "most": [large.name, large.first, large.size], "sizes": sizes}
    yield f"phone cuts of {what}: bytes of the largest", told, large.size <= MOST
    least = min(each.height for each in made)
    told = {"least alike": [odd.name, odd.first, round(odd.like, 3)], "height": least}
    yield f"phone cuts of {what}: as clear as its recording", told, odd.like >= ALIKE and least >= 270


# ------------------------------------------------------------------------------------------- many at once


def crowd(_: Path) -> Iterator[Item]:
    """Three hundred phones in the same seconds, alone and beside a tape that is being built."""
    for what, options in (("alone", ()), ("beside a build", ("ARGS=--beside-build",))):
        told = _load(options)
        fine = told.get("clients") == 300 and told.get("acknowledged", 0) > 0 and _nothing_lost(told)
        yield f"300 phones at once, {what}", told, fine and not told.get("errors")


def kills(_: Path) -> Iterator[Item]:
    """The server killed in the middle of each of so many crowds."""
    told = _load((f"KILLS={KILLS}",))
    fine = told.get("runs") == KILLS and told.get("acknowledged", 0) > 0 and _nothing_lost(told)
    yield f"{KILLS} crowds, the server killed in each", told, fine and not told.get("errors_not_explained")


def _load(options: Iterable[str]) -> dict[str, Any]:
    """What `make load` prints; what went wrong where it prints nothing."""
    environment = {name: value for name, value in os.environ.items() if name not in ("KILLS", "ARGS", "MAKEFLAGS")}
    command = ["make", "--no-print-directory", "load", *options]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    try:
        found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    except (IndexError, ValueError):
        found = {"error": done.stderr.strip()[-300:]}
    return found


def _nothing_lost(told: dict[str, Any]) -> bool:
    return told.get("lost") == 0 and told.get("doubled") == 0


def benches(_: Path) -> Iterator[Item]:
    """The named benches at their gates, and how far the aim is."""
    for line in measured(list(BENCHES), None):
        value = {key: line[key] for key in ("value", "gate", "aim", "detail")}
        if line["value"] is not None:
            value["of_aim"] = round(line["value"] / line["aim"], 2)
        yield f"bench {line['bench']}", value, line["ok"] is True


if __name__ == "__main__":
    checks = (network, vectors, properties, leaks, cuts, crowd, kills, benches, access)
    report(__doc__, checks, {})
