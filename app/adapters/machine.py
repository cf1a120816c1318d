"""What this machine has for the work, and what to do about what it lacks."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters import child, ffmpeg
from app.domain.errors import PennonError

LEAST_DISK = 5 << 30
"""Bytes. An hour of prepared recording takes about this."""

FONTS = Path(__file__).parents[2] / "static" / "fonts"


@dataclass(frozen=True)
class Check:
    """One thing looked at. `advice` is what to do when it is not as it should be; empty when it is."""

    name: str
    ok: bool
    found: str
    advice: str = ""


def checks(data: Path) -> Iterator[Check]:
    """Look at all that media work needs; never raises."""
    yield _python()
    yield _asked(
        "ffmpeg", _ffmpeg, "Install the package imageio-ffmpeg again, or name a program in IMAGEIO_FFMPEG_EXE."
    )
    yield _asked("encoder", _encoder, "This ffmpeg lacks libx264 or zscale; unset IMAGEIO_FFMPEG_EXE to use ours.")
    yield _asked("video library", _av, "Install the package av again.")
    yield _asked("fonts", _fonts, "The folder static/fonts is incomplete; install Pennon again.")
    yield _asked("data folder", lambda: _writable(data), f'Make "{data}" writable, or name another in PENNON_DATA.')
    yield _disk(data)


def _asked(name: str, look: Callable[[], str], advice: str) -> Check:
    try:
        return Check(name, True, look())
    except (OSError, ImportError, PennonError) as error:
        return Check(name, False, str(error) or type(error).__name__, advice)


def _python() -> Check:
    found = ".".join(map(str, sys.version_info[:3]))
    ok = sys.version_info >= (3, 11)
    return Check("python", ok, found, "" if ok else "Pennon needs Python 3.11 or newer.")


def _ffmpeg() -> str:
    return ffmpeg.version()


def _encoder() -> str:
    listed = child.run([ffmpeg.program(), *ffmpeg.QUIET, "-encoders"], cpu_s=10).check("Listing encoders").stdout
    filters = child.run([ffmpeg.program(), *ffmpeg.QUIET, "-filters"], cpu_s=10).check("Listing filters").stdout
    missing = [name for name, text in (("libx264", listed), ("zscale", filters)) if name.encode() not in text]
    if missing:
        raise OSError(f"no {' and no '.join(missing)}")
    return "libx264, zscale"


def _av() -> str:
    code = "import av; print(av.__version__)"
    return child.run([sys.executable, "-c", code], cpu_s=20).check("Loading PyAV").stdout.decode().strip()


def _fonts() -> str:
    found = sorted(path.relative_to(FONTS).as_posix() for path in FONTS.rglob("*.woff2"))
    for face in ("besley", "atkinson"):
        if not any(face in name for name in found):
            raise OSError(f"no {face} in {FONTS}")
    return f"{len(found)} files"


def _writable(data: Path) -> str:
    data.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=data, prefix="doctor-"):
        return str(data)


def _disk(data: Path) -> Check:
    place = next((folder for folder in (data, *data.absolute().parents) if folder.exists()), Path(os.sep))
    free = shutil.disk_usage(place).free
    ok = free >= LEAST_DISK
    advice = "" if ok else f"An hour of recording takes about {LEAST_DISK >> 30} GB; free some space."
    return Check("disk", ok, f"{free / (1 << 30):.1f} GB free", advice)
