"""A worker for the fault tests, to be killed: `python -m tests.fault.slow_worker DATA` works on jobs that never end."""

from __future__ import annotations

import sys
import threading
from datetime import timedelta
from pathlib import Path

from app.actions.job import Work
from app.adapters import child
from app.adapters.files import Library
from app.adapters.queue import QUEUE, Queue
from app.store.engine import Database
from app.worker import Worker

LEASE = timedelta(seconds=2)


def sleep_in_child(work: Work) -> None:
    """Start a child that outlasts the test, and write down its process id where the test looks for it."""
    begun = work.library.root / "begun"
    code = f"import os, time; open({str(begun)!r}, 'w').write(str(os.getpid())); time.sleep(600)"
    child.run([sys.executable, "-c", code], cpu_s=60)


def main(data: Path) -> None:
    """Work until somebody ends the process."""
    database, queue = Database(f"sqlite:///{data / 'league.db'}"), Queue(data / QUEUE)
    Worker(database, Library(data), queue, {"slow": sleep_in_child}, LEASE, sweep_s=0.2).start()
    threading.Event().wait()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
