"""A tape that is being built beside something else, by a process of its own, as `pennon worker` does it.

    python -m tests.load.building

Builds the same lesson again and again, each time from nothing, until it is ended.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from tests.bench.stamped import shelf, twelve
from tests.bench.tape import build

BEGUN = "builds"


def main() -> None:
    """Build until it is ended."""
    on = shelf()
    plan = twelve(on)
    print(BEGUN, flush=True)
    while True:
        build(plan, on.emptied(), "beside.mp4")


@contextmanager
def building() -> Iterator[None]:
    """Meanwhile a tape is built."""
    command = [sys.executable, "-m", "tests.load.building"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline().strip() == BEGUN
            yield
            assert process.poll() is None, "the tape is not being built any more"
        finally:
            process.terminate()


if __name__ == "__main__":
    main()
