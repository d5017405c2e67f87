"""bytes -> the parts of one input; and the inputs that tests, cases and published vectors already hold."""

import ast
import base64
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from tests.conftest import VECTORS

ROOT: Final = Path(__file__).parents[1]
_MOST: Final = 2_000  # bytes of one seed


def parted(data: bytes, options: int) -> tuple[bytes, bytes]:
    """The first `options` bytes, zeros where they lack, and what follows them."""
    return data[:options].ljust(options, b"\0"), data[options:]


def first_line(data: bytes) -> tuple[str, bytes]:
    """The first line as text, and what follows it."""
    line, _, rest = data.partition(b"\n")
    return line.decode("utf-8", errors="replace"), rest


def pieces(data: bytes, seed: int) -> list[bytes]:
    """`data` cut into pieces of 1 to 64 bytes, which `seed` chooses (a linear congruential generator)."""
    cut: list[bytes] = []
    start = 0
    while start < len(data):
        seed = (seed * 1_103_515_245 + 12_345) % (1 << 31)
        size = 1 + (seed >> 16) % (1 << (seed >> 24) % 7)
        cut.append(data[start : start + size])
        start += size
    return cut


def literals(*names: str) -> Iterator[bytes]:
    """Every text and byte string written in these test files, or in all below a folder, each once."""
    seen: set[bytes] = set()
    for name in names:
        path = ROOT / name
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            for node in ast.walk(ast.parse(file.read_text("utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str | bytes):
                    value = node.value
                    data = value.encode("utf-8", "replace") if isinstance(value, str) else value
                    if 0 < len(data) <= _MOST and data not in seen:
                        seen.add(data)
                        yield data


def case_files(*patterns: str) -> Iterator[bytes]:
    """The bytes of cases' files."""
    for pattern in patterns:
        for path in sorted((ROOT / "cases").glob(pattern)):
            yield path.read_bytes()[:_MOST]


def case_scripts() -> Iterator[bytes]:
    """What clients send in the cases about a client's line, each script in one piece."""
    for path in sorted((ROOT / "cases").glob("tcp-*/script.json")):
        found = json.loads(path.read_text("utf-8"))
        for script in found.values() if isinstance(found, dict) else [found]:
            yield b"".join(bytes.fromhex(step.get("send_hex", "")) for step in script)


def json_vectors() -> Iterator[bytes]:
    """The published inputs for RFC 8259, where they are laid beside us."""
    path = VECTORS / "json" / "json-test-suite.base64.json"
    if path.exists():
        for encoded in json.loads(path.read_text("utf-8")).values():
            data = base64.b64decode(encoded)
            if len(data) <= _MOST:
                yield data


def path_vectors() -> Iterator[bytes]:
    """The RFC 9535 compliance suite where it is there: a query, a line end, its document."""
    path = VECTORS / "jsonpath" / "cts.json"
    if path.exists():
        for test in json.loads(path.read_text("utf-8"))["tests"]:
            query = test["selector"].replace("\n", " ")
            document = json.dumps(test.get("document", [1]))
            yield f"{query}\n{document}".encode("utf-8", "replace")


def behind(options: Iterable[bytes], inputs: Iterable[bytes]) -> Iterator[bytes]:
    """Each input behind the options, which take turns."""
    turns = list(options)
    for number, data in enumerate(inputs):
        yield turns[number % len(turns)] + data
