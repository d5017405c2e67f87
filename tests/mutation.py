"""A pure package's tests, judged by mutants of its code: python -m tests.mutation wire [--sample N]

Works in a copy of the house, below the temporary folder, with mutmut (which is no dependency: `pip install
mutmut`). Of all mutants a sample is taken by the seed; each meets the tests of `tests/gateway/PACKAGE` that
run the changed function. Tests that watch the clock or the memory are left out, since mutmut's own code takes
both; so may those be, with `--without`, that take longest or need a shallow stack.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[1]
_COPIED: Final = ("gateway", "adapters", "demo_site", "tests", "pyproject.toml", "README.md")
_WATCHES: Final = ("perf_counter", "process_time", "monotonic", "tracemalloc", "ru_maxrss")
_ENDS: Final[Mapping[int | None, str]] = {
    1: "killed",
    3: "killed",
    0: "survived",
    5: "no test",
    33: "no test",
}
_CONFIG: Final = """
[tool.mutmut]
source_paths = ["gateway", "adapters"]
only_mutate = ["gateway/{package}/*"]
also_copy = ["demo_site"]
pytest_add_cli_args_test_selection = ["tests/gateway/{package}"]
pytest_add_cli_args = {arguments}
use_setproctitle = false
timeout_multiplier = 8.0
timeout_constant = 2.0
"""

# mutmut deepens the stack, and cannot name tests whose parameters hold `::`.
_CONFTEST: Final = """

import sys

sys.setrecursionlimit(10_000)


def pytest_make_parametrize_id(config, val, argname):
    return argname
"""


def watching(folder: Path) -> Iterator[str]:
    """The tests below a folder of `tests` that watch the clock or the memory, as pytest names them."""
    for path in sorted(folder.rglob("test_*.py")):
        text = path.read_text("utf-8")
        for node in ast.parse(text).body:
            segment = ast.get_source_segment(text, node) or ""
            if isinstance(node, ast.FunctionDef) and any(each in segment for each in _WATCHES):
                yield f"{path.relative_to(ROOT)}::{node.name}"


def copied(package: str, without: Sequence[str], folder: Path) -> None:
    """The house in `folder`, told what is to be mutated and what not to be run."""
    for name in _COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, folder / name)
    arguments = ["-p", "no:headrace", "-p", "no:cacheprovider", "-p", "no:xdist"]
    for each in (*without, *watching(ROOT / "tests/gateway" / package)):
        arguments += ["--deselect", each]
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write(_CONFIG.format(package=package, arguments=json.dumps(arguments)))
    with (folder / "tests" / "conftest.py").open("a", encoding="utf-8") as file:
        file.write(_CONFTEST)


def ends(folder: Path) -> dict[str, int | None]:
    """What became of each mutant: the tests' exit code, None where they have not been run."""
    found: dict[str, int | None] = {}
    for path in sorted((folder / "mutants" / "gateway").rglob("*.meta")):
        found |= json.loads(path.read_text("utf-8"))["exit_code_by_key"]
    return found


def _mutmut(folder: Path, *arguments: str) -> None:
    vectors = os.environ.get("HEADRACE_VECTORS") or str(ROOT.parent / "shared" / "vectors")
    command = [sys.executable, "-m", "mutmut", *arguments]
    subprocess.run(command, cwd=folder, check=False, env={**os.environ, "HEADRACE_VECTORS": vectors})


def main() -> None:
    """Mutate, run, and print the score and the survivors."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__.partition("\n")[0])
    parser.add_argument("package", help="of gateway: wire, extract, listings, ..")
    parser.add_argument("--sample", type=int, default=200, help="how many mutants (default 200)")
    parser.add_argument("--seed", type=int, default=1, help="of the sample (default 1)")
    parser.add_argument(
        "--without", nargs="+", default=[], metavar="TEST", help="files, or FILE::TEST, to leave out"
    )
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="headrace-mutants-"))
    copied(arguments.package, arguments.without, folder)
    _mutmut(folder, "run", "none of them")  # makes them all, and learns which test runs which function
    names = sorted(ends(folder))
    chosen = random.Random(arguments.seed).sample(names, min(arguments.sample, len(names)))
    _mutmut(folder, "run", *chosen)
    found = ends(folder)
    told = Counter(_ENDS.get(found[name], "timed out or crashed") for name in chosen)
    print(f"{arguments.package}: {len(chosen)} of {len(names)} mutants, {dict(told)}; in {folder}")
    for name in sorted(chosen):
        if found[name] in {0, 5, 33}:
            _mutmut(folder, "show", name)


if __name__ == "__main__":
    main()
