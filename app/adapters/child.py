"""The only starter of child processes: no shell, stdin closed, limits on everything, dead when the parent dies.

Limits count CPU time, memory and bytes written, not wall time: a child that stands back may wait long and do no
harm. What neither computes nor ends for STALL_S is taken for hung and ended.
"""

from __future__ import annotations

import os
import selectors
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from app.domain.errors import RenderFailed, Unready

GIB = 1 << 30
STALL_S = 300.0
GRACE_S = 2.0
_TAIL = 16_384
_PASSED_ON = ("PATH", "HOME", "LANG", "TMPDIR", "IMAGEIO_FFMPEG_EXE", "LD_LIBRARY_PATH")
_LAUNCHER = Path(__file__).with_name("launch.py")
_CODE = Path(__file__).parents[2]


@dataclass(frozen=True)
class Finished:
    """How a child ended. `status`: exit code, or minus the signal that ended it. CPU time in seconds."""

    status: int
    stdout: bytes
    stderr: str
    cpu_s: float
    peak_kib: int
    out_of_time: bool = False

    def check(self, work: str) -> Finished:
        """Itself where the child succeeded; else RenderFailed (or Unready: full disk). `work` begins the sentence."""
        if self.undisturbed(work).status == 0:
            return self
        if self.out_of_time:
            raise RenderFailed(f"{work} took more computing time than is allowed for its length.", permanent=True)
        if self.status == -signal.SIGXFSZ or "File too large" in self.stderr:
            raise RenderFailed(f"{work} grew larger than is allowed for its length.", permanent=True)
        raise RenderFailed(f"{work} failed: {_last_line(self.stderr)}", permanent=True)

    def undisturbed(self, work: str) -> Finished:
        """Itself where it came to an end of its own, good or bad, which may be a verdict on what it was given.

        Raises RenderFailed where it was killed, Unready where the disk is full: that says nothing of anything.
        """
        if self.status and "No space left on device" in self.stderr:
            raise Unready(f"{work} stopped: the disk is full. Free some space and try again.")
        if self.status in (-signal.SIGKILL, -signal.SIGTERM) and not self.out_of_time:
            raise RenderFailed(f"{work} was ended from outside.", permanent=False)
        return self


def run(
    arguments: list[str],
    *,
    cpu_s: float,
    memory: int = 4 * GIB,
    file_size: int = 64 * GIB,
    stdin: bytes | Iterable[bytes] | None = None,
    on_progress: Callable[[float], None] | None = None,
    on_pulse: Callable[[], None] | None = None,
    output: int = 512 << 20,
    knows: Mapping[str, str] = MappingProxyType({}),
) -> Finished:
    """Run a program to its end under limits: CPU seconds, address space and size of any file written (bytes).

    `stdin`: bytes, or blocks that are made while the child reads. `on_progress` is told the seconds of picture done
    (for ffmpeg with `-progress pipe:1`), `on_pulse` is called at least once a second; if either raises, the child is
    ended and the error passes on. Standard output beyond `output` bytes is dropped. `knows`: what it finds in its
    environment beside what all do. A failing child is no error here: see `Finished.check`.
    """
    limits = [str(os.getpid()), str(max(1, round(cpu_s))), str(memory), str(file_size)]
    process = subprocess.Popen(
        [sys.executable, "-I", "-S", str(_LAUNCHER), *limits, *arguments],
        stdin=subprocess.DEVNULL if stdin is None else subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**_environment(os.environ), **knows},
        process_group=0,  # no session of its own: Linux shares the processor among sessions first
        close_fds=True,
    )
    feeder = _fed(process, stdin)
    try:
        stdout, stderr = _drain(process, on_progress, on_pulse, output)
        status, cpu, peak = _reap(process)
    except BaseException:
        _end(process)
        raise
    finally:
        _close(process)
        if feeder is not None:
            feeder.join()
    late = status == -signal.SIGXCPU or (status != 0 and cpu >= 0.98 * cpu_s)  # some programs catch the signal
    return Finished(status, stdout, stderr.decode(errors="replace"), cpu, peak, late)


def python(module: str, *arguments: str) -> list[str]:
    """The arguments that run a module of this program in a child of its own."""
    return [sys.executable, "-m", module, *arguments]


def _environment(own: Mapping[str, str]) -> dict[str, str]:
    """What a child may know: nothing of the server's settings. One thread per numeric library saves address space."""
    passed = {name: own[name] for name in _PASSED_ON if name in own}
    return passed | {"PYTHONPATH": str(_CODE), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}


def _fed(process: subprocess.Popen[bytes], stdin: bytes | Iterable[bytes] | None) -> threading.Thread | None:
    """A thread that writes the blocks to the child; a child that reads no further is not an error."""
    if stdin is None or process.stdin is None:
        return None
    pipe = process.stdin
    blocks = (stdin,) if isinstance(stdin, bytes) else stdin

    def feed() -> None:
        with suppress(BrokenPipeError, ValueError), pipe:
            for block in blocks:
                pipe.write(block)

    feeder = threading.Thread(target=feed, daemon=True)
    feeder.start()
    return feeder


def _drain(
    process: subprocess.Popen[bytes],
    on_progress: Callable[[float], None] | None,
    on_pulse: Callable[[], None] | None,
    output: int,
) -> tuple[bytes, bytes]:
    """Read both pipes to their ends: the whole of standard output, the tail of standard error."""
    assert process.stdout is not None
    assert process.stderr is not None
    stdout, stderr = bytearray(), bytearray()
    watch = _Watch(process.pid)
    with selectors.DefaultSelector() as ready:
        ready.register(process.stdout, selectors.EVENT_READ, stdout)
        ready.register(process.stderr, selectors.EVENT_READ, stderr)
        while ready.get_map():
            for key, _ in ready.select(timeout=1.0):
                block = os.read(key.fd, 1 << 18)
                if not block:
                    ready.unregister(key.fileobj)
                key.data.extend(block)
            del stderr[:-_TAIL]
            if on_progress is not None:
                _report(stdout, on_progress)
            if on_pulse is not None:
                on_pulse()
            del stdout[output:]
            watch.look()
    return bytes(stdout), bytes(stderr)


def _report(lines: bytearray, on_progress: Callable[[float], None]) -> None:
    """Consume whole `key=value` lines; tell the last time among them."""
    whole, _, rest = lines.rpartition(b"\n")
    times = [line[12:] for line in whole.splitlines() if line.startswith(b"out_time_us=")]
    lines[:] = rest
    if times and times[-1].strip().isdigit():
        on_progress(int(times[-1]) / 1e6)


class _Watch:
    """Ends a child whose CPU time has stood still for STALL_S."""

    def __init__(self, pid: int) -> None:
        self._pid = pid
        self._cpu = ""
        self._since = time.monotonic()

    def look(self) -> None:
        now = time.monotonic()
        if now - self._since < STALL_S / 10:
            return
        with suppress(OSError):
            fields = Path(f"/proc/{self._pid}/stat").read_text().rpartition(")")[2].split()
            if (cpu := "+".join(fields[11:13])) != self._cpu:
                self._cpu, self._since = cpu, now
        if now - self._since > STALL_S:
            raise RenderFailed("A media process hung and was ended.", permanent=False)


def _reap(process: subprocess.Popen[bytes]) -> tuple[int, float, int]:
    """Wait for the end and take the child's own account: status, CPU seconds, peak memory in KiB."""
    _, wait_status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(wait_status)
    return process.returncode, usage.ru_utime + usage.ru_stime, usage.ru_maxrss


def _end(process: subprocess.Popen[bytes]) -> None:
    """Ask the child's whole group to stop; after GRACE_S, do not ask."""
    if process.returncode is not None:
        return
    for sign, patience in ((signal.SIGTERM, GRACE_S), (signal.SIGKILL, None)):
        with suppress(ProcessLookupError):
            os.killpg(process.pid, sign)
        with suppress(subprocess.TimeoutExpired):
            process.wait(patience)
            return


def _close(process: subprocess.Popen[bytes]) -> None:
    for pipe in (process.stdout, process.stderr):
        if pipe is not None:
            pipe.close()


def _last_line(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else "it gave no reason"
