"""python -m tests.torture -> what came of making every call fail in turn; 1 where anything was wrong."""

import argparse
import sys
import time

from tests.torture.chapters import CHAPTERS
from tests.torture.plan import Depth, sample, trials
from tests.torture.sweep import sweep, torturers


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.torture", description=__doc__)
    parser.add_argument("chapters", nargs="*", metavar="CHAPTER", help=f"of {', '.join(CHAPTERS)}; all")
    parser.add_argument("--each", choices=[each.value for each in Depth], default="site", help="%(default)s")
    parser.add_argument("--sample", type=int, metavar="N", help="only so many trials")
    parser.add_argument("--seed", type=int, default=1, help="which ones (%(default)s)")
    parser.add_argument("--only", default="", metavar="TEXT", help="only trials in whose line this stands")
    parser.add_argument(
        "--gateways", type=int, default=2, metavar="N", help="at work side by side (%(default)s)"
    )
    options = parser.parse_args()
    began = time.monotonic()
    with torturers(options.gateways) as made:
        counted = {each: made[0].usual(each).points for each in options.chapters or CHAPTERS}
        sites = {site for calls in counted.values() for site, _ in calls}
        calls = sum(sum(each.values()) for each in counted.values())
        every = [each for each in trials(counted, Depth(options.each)) if options.only in str(each)]
        chosen = every if options.sample is None else sample(every, options.sample, options.seed)
        print(f"{calls} calls from {len(sites)} sites; {len(chosen)} of {len(every)} trials", flush=True)
        figures = sweep(made, chosen, lambda text: print(text, end="", flush=True))
    print(figures.told())
    print(f"{time.monotonic() - began:.0f} s")
    return 1 if figures.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
