"""What the C library's memory is taken from, counted by the library itself."""

import ctypes
import subprocess
import sys

import pytest

from service.web.serving import ARENAS_MAX
from tests.places import TOP

COUNT = """
import ctypes, sys, threading

if sys.argv[1] == "shared":
    from service.web.serving import share_arenas

    share_arenas()
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
together = threading.Barrier(12)

def take():
    together.wait()
    for _ in range(1000):
        libc.malloc(1000)  # without the interpreter's lock
    together.wait()

threads = [threading.Thread(target=take) for _ in range(12)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
libc.fopen.restype = ctypes.c_void_p
libc.malloc_info.argtypes = [ctypes.c_int, ctypes.c_void_p]
libc.malloc_info(0, libc.fopen(b"/dev/stdout", b"w"))
libc.fflush(None)
"""


def arenas(how: str) -> int:
    done = subprocess.run(
        [sys.executable, "-c", COUNT, how], cwd=TOP, capture_output=True, text=True, check=True
    )
    return done.stdout.count("<heap nr=")


@pytest.mark.skipif(
    not hasattr(ctypes.CDLL(None), "malloc_info"), reason="only glibc has arenas to share"
)
def test_threads_share_a_few_arenas() -> None:
    assert arenas("each its own") > ARENAS_MAX
    assert arenas("shared") <= ARENAS_MAX
