"""A pure package's tests, judged by mutants of its code: python -m tests.mutation wire [--sample N]

Works in a copy of the house, below the temporary folder, with mutmut (which is no dependency: `pip install
mutmut`). Of all mutants a sample is taken by the seed; each meets the tests of `tests/gateway/PACKAGE` that
run the changed function, in a process of its own. Tests that watch the clock or the memory are left out,
since mutmut's own code takes both; so may those be, with `--without`, that take longest.
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
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final

from tests.conftest import VECTORS

ROOT: Final = Path(__file__).parents[1]
_COPIED: Final = ("gateway", "adapters", "demo_site", "tests", "pyproject.toml", "README.md")
_WATCHES: Final = ("perf_counter", "process_time", "monotonic", "tracemalloc", "ru_maxrss")
_PATIENCE: Final = 150  # seconds for one mutant
_CONFIG: Final = """
[tool.mutmut]
source_paths = ["gateway", "adapters"]
only_mutate = ["gateway/{package}/*"]
also_copy = ["demo_site"]
pytest_add_cli_args_test_selection = ["tests/gateway/{package}"]
pytest_add_cli_args = {arguments}
use_setproctitle = false
"""

# mutmut deepens the stack, and what parameters are made of may be no name for a test.
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


def covering(folder: Path) -> Mapping[str, Sequence[str]]:
    """Mutant -> the tests that run its function, those of all parameters together; mutmut has learnt it."""
    mutants = folder / "mutants"
    told = json.loads((mutants / "mutmut-stats.json").read_text("utf-8"))["tests_by_mangled_function_name"]
    found: dict[str, Sequence[str]] = {}
    for path in sorted((mutants / "gateway").rglob("*.meta")):
        for name in json.loads(path.read_text("utf-8"))["exit_code_by_key"]:
            tests = told.get(name.rpartition("__mutmut_")[0], ())
            found[name] = sorted({each.partition("[")[0] for each in tests})
    return found


def judged(folder: Path, name: str, tests: Sequence[str]) -> str:
    """What its tests say of one mutant."""
    if not tests:
        return "no test"
    config = tomllib.loads((folder / "pyproject.toml").read_text("utf-8"))["tool"]["mutmut"]
    command = [
        sys.executable,
        "-m",
        "pytest",
        "--rootdir=.",
        "-x",
        "-q",
        *tests,
        *config["pytest_add_cli_args"],
    ]
    env = {**_environment(), "MUTANT_UNDER_TEST": name}
    try:
        done = subprocess.run(
            command, cwd=folder / "mutants", env=env, capture_output=True, check=False, timeout=_PATIENCE
        )
    except subprocess.TimeoutExpired:
        return "timed out"
    return {0: "survived", 1: "noticed"}.get(done.returncode, f"pytest ended with {done.returncode}")


def _mutmut(folder: Path, *arguments: str) -> None:
    subprocess.run([sys.executable, "-m", "mutmut", *arguments], cwd=folder, check=False, env=_environment())


def _environment() -> dict[str, str]:
    """The tests are compiled once, and not for each mutant."""
    env = {**os.environ, "HEADRACE_VECTORS": str(VECTORS)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    return env


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
    _mutmut(folder, "run", "none of them")  # makes them all, learns what each test runs, and complains
    tests = covering(folder)
    chosen = random.Random(arguments.seed).sample(sorted(tests), min(arguments.sample, len(tests)))
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        told = list(pool.map(lambda each: judged(folder, each, tests[each]), chosen))
    print(f"{arguments.package}: {len(chosen)} of {len(tests)} mutants, {dict(Counter(told))}; in {folder}")
    for name, end in sorted(zip(chosen, told, strict=True)):
        if end not in {"noticed", "timed out"}:
            print(f"{name}: {end}", flush=True)
            _mutmut(folder, "show", name)


if __name__ == "__main__":
    main()
