"""The quick check may run in many threads from the first request on."""

import subprocess
import sys

SCRIPT = """
import sys, threading
sys.setswitchinterval(1e-6)
from service.web.schemas.examples import example_events
from service.web.schemas.plain import is_plain
from service.vocabulary.facts import CATALOGUE
events = [event for type_ in CATALOGUE for event in example_events(type_)]
begin = threading.Barrier(8)
found = []
def ask():
    begin.wait()
    found.append(all([is_plain(event) for event in events]))
threads = [threading.Thread(target=ask) for _ in range(8)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
print(found == [True] * 8)
"""


def test_the_first_events_may_be_checked_by_several_threads_at_once() -> None:
    """msgspec works out a type at its first use, which is not safe in several threads."""
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stdout) == (0, "True\n"), done.stderr
