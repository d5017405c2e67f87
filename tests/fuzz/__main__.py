"""One stage fuzzed, guided by coverage: python -m tests.fuzz STAGE [--seconds N | --runs N] [--seed N]

Inputs that go new ways are kept in a folder outside the repository (--corpus), and the next run starts from
them and from the seeds. A finding is written beside them as `crash-HASH`; `--again FILE` runs it alone,
without the fuzzer. With the same seed, corpus and --runs a run does the same again.
"""

import argparse
import hashlib
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from tests.fuzz.stages import BROKEN, STAGES, Stage

INPUT_SECONDS: Final = 5.0
"""Of processor time, watched, that one input may take."""

_STUCK_SECONDS: Final = 60  # before the fuzzer gives up an input that does not end


def in_time(check: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """The check, and that it ends in time."""

    def timed(data: bytes) -> None:
        started = time.process_time()
        check(data)
        spent = time.process_time() - started
        assert spent < INPUT_SECONDS, f"{len(data)} bytes took {spent:.1f} s"

    return timed


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__.partition("\n")[0])
    parser.add_argument("stage", choices=[*STAGES, BROKEN.name], metavar="STAGE", help=" ".join(STAGES))
    length = parser.add_mutually_exclusive_group()
    length.add_argument("--seconds", type=int, help="how long (default 60)")
    length.add_argument("--runs", type=int, help="how many inputs, seeds among them")
    parser.add_argument("--seed", type=int, default=1, help="of the mutations (default 1)")
    parser.add_argument("--sample", type=int, metavar="N", help="so many of the seeds, chosen by --seed")
    parser.add_argument(
        "--corpus", type=Path, help="where inputs are kept (default: below the temporary folder)"
    )
    parser.add_argument("--again", type=Path, metavar="FILE", help="run this one input and nothing else")
    return parser.parse_args()


def _laid_out(stage: Stage, seeds: list[bytes], folder: Path) -> tuple[Path, Path, Path]:
    """The folders of what is found and of the seeds, and the file of marks, as libFuzzer reads them."""
    kept, given, marks = folder / "corpus", folder / "seeds", folder / "marks"
    kept.mkdir(parents=True, exist_ok=True)
    given.mkdir(exist_ok=True)
    for old in given.iterdir():
        old.unlink()
    for data in seeds:
        (given / hashlib.sha256(data).hexdigest()[:20]).write_bytes(data[: stage.most])
    quoted = ("".join(f"\\x{byte:02X}" for byte in each) for each in stage.marks)
    marks.write_text("".join(f'"{each}"\n' for each in quoted), "ascii")
    return kept, given, marks


def main() -> None:
    """Fuzz, or run one input again. The fuzzer ends the process itself."""
    arguments = _arguments()
    stage = STAGES.get(arguments.stage, BROKEN)
    if arguments.again is not None:
        in_time(stage.target().check)(arguments.again.read_bytes())
        return

    import atheris  # only here: there is no wheel for every platform

    with atheris.instrument_imports(include=list(stage.watched)):
        target = stage.target()
    folder = arguments.corpus or Path(tempfile.gettempdir()) / "headrace-fuzz" / stage.name
    seeds = list(target.seeds())
    if arguments.sample is not None:
        seeds = random.Random(arguments.seed).sample(seeds, min(arguments.sample, len(seeds)))
    kept, given, marks = _laid_out(stage, seeds, folder)
    options = {
        "seed": arguments.seed,
        "runs": -1 if arguments.runs is None else arguments.runs,
        "max_total_time": (arguments.seconds or 60) if arguments.runs is None else 0,
        "max_len": stage.most,
        "timeout": _STUCK_SECONDS,
        "dict": marks,
        "artifact_prefix": f"{folder}/",
        "print_final_stats": 1,
    }
    flags = [f"-{name}={value}" for name, value in options.items()]
    atheris.Setup([sys.argv[0], *flags, str(kept), str(given)], in_time(target.check))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
