"""Child processes keep to their limits, end with their parent, and say why they ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.adapters import child
from app.domain.errors import RenderFailed, Unready

PYTHON = sys.executable


def script(text: str) -> list[str]:
    return [PYTHON, "-c", text]


def test_output_status_and_cpu_time_are_told() -> None:
    finished = child.run(script("import sys; print('out'); print('err', file=sys.stderr); sys.exit(3)"), cpu_s=10)
    assert (finished.status, finished.stdout, finished.stderr) == (3, b"out\n", "err\n")
    assert finished.cpu_s > 0
    with pytest.raises(RenderFailed, match="The work failed: err") as told:
        finished.check("The work")
    assert told.value.permanent


def test_standard_input_is_closed_unless_something_is_given() -> None:
    read = "import sys; sys.stdout.write(str(len(sys.stdin.buffer.read())))"
    assert child.run(script(read), cpu_s=10).stdout == b"0"
    assert child.run(script(read), cpu_s=10, stdin=b"abc").stdout == b"3"
    blocks = (bytes(1 << 20) for _ in range(5))
    assert child.run(script(read), cpu_s=10, stdin=blocks).stdout == str(5 << 20).encode()


def test_a_child_that_reads_no_further_does_not_hang_the_parent() -> None:
    assert child.run(script("pass"), cpu_s=10, stdin=(bytes(1 << 20) for _ in range(50))).status == 0


def test_a_child_that_says_nothing_is_ended_when_its_parent_wants_to_stop() -> None:
    class Enough(Exception):
        pass

    pulses: list[int] = []

    def stop() -> None:
        pulses.append(len(pulses))
        if len(pulses) == 2:
            raise Enough

    with pytest.raises(Enough):
        child.run(script("import time; time.sleep(600)"), cpu_s=10, on_pulse=stop)
    assert pulses == [0, 1]


def test_too_much_computing_memory_or_writing_ends_the_child(tmp_path: Path) -> None:
    with pytest.raises(RenderFailed, match="computing time"):
        child.run(script("while True: pass"), cpu_s=1).check("The work")
    finished = child.run(script("bytearray(1 << 30)"), cpu_s=10, memory=256 << 20)
    assert "MemoryError" in finished.stderr
    write = f"open({str(tmp_path / 'big')!r}, 'wb').write(bytes(1 << 20))"
    with pytest.raises(RenderFailed, match="grew larger"):
        child.run(script(write), cpu_s=10, file_size=1000).check("The work")
    assert (tmp_path / "big").stat().st_size <= 1000


def test_being_killed_is_no_verdict_and_every_other_end_is_one() -> None:
    killed = child.run(script("import os; os.kill(os.getpid(), 9)"), cpu_s=10)
    with pytest.raises(RenderFailed, match="ended from outside") as told:
        killed.undisturbed("The work")
    assert not told.value.permanent
    for code in ("raise SystemExit(3)", "import os; os.abort()"):
        ended = child.run(script(code), cpu_s=10)
        assert ended.undisturbed("The work") is ended


def test_a_full_disk_is_told_as_such() -> None:
    finished = child.run(script("raise SystemExit('av: No space left on device')"), cpu_s=10)
    with pytest.raises(Unready, match="disk is full"):
        finished.check("The work")
    with pytest.raises(Unready, match="disk is full"):
        finished.undisturbed("The work")


def test_the_server_s_settings_are_not_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PENNON_SECRET", "hush")
    told = child.run(script("import os; print(dict(os.environ))"), cpu_s=10).stdout
    assert b"hush" not in told
    assert b"PATH" in told


def test_an_error_in_the_listener_ends_the_child_and_passes_on(tmp_path: Path) -> None:
    text = f"""
import os, time
open({str(tmp_path / "pid")!r}, "w").write(str(os.getpid()))
while True:
    print("out_time_us=1500000", flush=True)
    time.sleep(0.01)
"""
    told: list[float] = []

    def cancel(done_s: float) -> None:
        told.append(done_s)
        raise InterruptedError

    with pytest.raises(InterruptedError):
        child.run(script(text), cpu_s=10, on_progress=cancel)
    assert told == [1.5]
    assert not Path(f"/proc/{(tmp_path / 'pid').read_text()}").exists()


@pytest.mark.skipif(sys.platform != "linux", reason="the parent-death signal is Linux's")
def test_a_child_dies_with_its_parent(tmp_path: Path) -> None:
    pid_file = tmp_path / "pid"
    inner = f"import os, time; open({str(pid_file)!r}, 'w').write(str(os.getpid())); time.sleep(600)"
    outer = f"import sys; from app.adapters import child; child.run([sys.executable, '-c', {inner!r}], cpu_s=10)"
    parent = subprocess.Popen(script(outer))
    while not (pid_file.exists() and pid_file.read_text()):
        time.sleep(0.01)
    os.kill(parent.pid, signal.SIGKILL)
    parent.wait()
    while Path(f"/proc/{pid_file.read_text()}/cmdline").exists():
        if not Path(f"/proc/{pid_file.read_text()}/cmdline").read_bytes():
            break  # ended, and not yet reaped by whoever inherited it
        time.sleep(0.01)


def test_a_child_finds_in_its_environment_what_it_is_to_know() -> None:
    read = "import os; print(os.environ['PAPER'])"
    assert child.run(script(read), cpu_s=10, knows={"PAPER": "buff"}).stdout == b"buff\n"


def test_a_child_stands_back_behind_who_started_it() -> None:
    found = child.run(script("import os; print(os.nice(0), os.getsid(0), os.getpgrp() == os.getpid())"), cpu_s=10)
    nice, session, leads = found.stdout.split()
    assert int(nice) == min(19, os.nice(0) + 15)
    assert int(session) == os.getsid(0)  # niceness means nothing to another session
    assert leads == b"True"


def test_a_hung_child_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child, "STALL_S", 1.0)
    with pytest.raises(RenderFailed, match="hung") as told:
        child.run(script("import time; time.sleep(600)"), cpu_s=10)
    assert not told.value.permanent
