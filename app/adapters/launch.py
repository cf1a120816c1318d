"""Puts limits on itself, then becomes the program it was asked for. Started by `child.run`, never imported.

    python -I -S launch.py PARENT_PID CPU_S MEMORY FILE_SIZE PROGRAM ARGUMENT...

Limits are set here, between start and exec, because code run between fork and exec in a threaded server may
deadlock, and limits set from outside come too late for a program that is quick.
"""

import ctypes
import os
import resource
import signal
import sys

PR_SET_PDEATHSIG = 1
AFTER_PEOPLE = 15
"""Niceness of all this work: phones in a check come first, and yet a busy machine makes a video some day."""


def main(command: list[str], parent: int, cpu_s: int, memory: int, file_size: int) -> None:
    """Limit CPU seconds, address space and file size (bytes), tie the life to the parent's, stand back, and exec."""
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 5))
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_FSIZE, (file_size, file_size))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    os.nice(AFTER_PEOPLE)
    if os.getppid() != parent:
        sys.exit("the parent is gone")
    os.execvp(command[0], command)


if __name__ == "__main__":
    main(sys.argv[5:], *map(int, sys.argv[1:5]))
