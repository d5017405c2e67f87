"""A program: record or play one conversation, and print what was said and how much memory that took.

    python -m tests.recorded.large MODE FOLDER REQUEST...

MODE is record or play; FOLDER holds headrace.toml. Bytes: `python` is the most that Python's objects had,
`process` by how much the most that the process had has grown.
"""

import asyncio
import json
import resource
import sys
import time
import tracemalloc
from pathlib import Path

from tests.recorded.twice import Twice


def main() -> None:
    """JSON on standard output."""
    mode, name, *requests = sys.argv[1:]
    twice = Twice(Path(name, "headrace.toml"), Path(name, "hall"))
    said = twice.live if mode == "record" else twice.played
    asyncio.run(said("NOOP"))  # what is imported and opened once
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    tracemalloc.start()
    began = time.perf_counter()
    replies = asyncio.run(said(*requests))
    took = time.perf_counter() - began
    peak = tracemalloc.get_traced_memory()[1]
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    print(
        json.dumps(
            {
                "said": [reply.decode() for reply in replies],
                "seconds": round(took, 2),
                "python": peak,
                "process": grown * 1024,
            }
        )
    )


if __name__ == "__main__":
    main()
