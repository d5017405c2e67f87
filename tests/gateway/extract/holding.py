"""How long work in a thread keeps all other threads waiting, as one call into C over megabytes does."""

import threading
import time
from collections.abc import Callable


def longest_hold(work: Callable[[], object]) -> float:
    """Seconds for which `work`, in a thread, kept another thread from running; the best of three."""
    best = 9.0
    for _ in range(3):
        thread = threading.Thread(target=work)
        thread.start()
        longest, last = 0.0, time.perf_counter()
        while thread.is_alive():
            time.sleep(0.001)
            longest, last = max(longest, time.perf_counter() - last), time.perf_counter()
        best = min(best, longest)
    return best
