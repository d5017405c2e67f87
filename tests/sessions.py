"""The sessions in README.md, as the demo gateway really answers: python -m tests.sessions [--write]

A session stands in a text block after `<!-- session -->`. Its first line is a `headrace say` command; what
follows is the reply, with a ruler between the status line and the records. A conversation stands after
`<!-- conversation -->`: lines that begin with `<` are the client's. After `<!-- output -->` stands another
command, and what it prints.
"""

import asyncio
import contextlib
import io
import re
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import certifi

from demo_site.areas.running import DemoAreas
from demo_site.catalogue import demo_catalogue
from demo_site.servers import DemoServers
from gateway.commands import wiring
from gateway.commands.demo import ruler
from gateway.commands.main import main as main_command
from gateway.commands.say import converse
from gateway.wire.replies import Lines

README = Path(__file__).parents[1] / "README.md"
_BLOCK = re.compile(
    r"(<!-- session -->\n```text\n)(\$ headrace say --config demo\.toml (.*)\n)(?:.*\n)*?(```)"
)
_CONVERSATION = re.compile(r"(<!-- conversation -->\n```text\n)((?:.*\n)*?)(```)")
_OUTPUT = re.compile(r"(<!-- output -->\n```(?:text|basic)\n)(\$ headrace (.*)\n)(?:.*\n)*?(```)")


def answered(requests: list[str]) -> str:
    """The replies of the demo gateway to `requests` on one connection, rulers added."""
    shown: list[str] = []

    def put(_: str, lines: Lines) -> None:
        status, *records = [line.decode("ascii").rstrip("\r\n") for line in lines]
        shown.append(status)
        if records:
            shown.extend([ruler(len(records[0])), *records])

    said(requests, put)
    return "".join(line + "\n" for line in shown)


def conversed(requests: list[str]) -> str:
    """The same with what the client sends, `<` before it, and without rulers: as it is on the line."""
    shown: list[str] = []

    def put(_: str, lines: Lines) -> None:
        shown.extend("  " + line.decode("ascii").rstrip("\r\n") for line in lines)

    said(requests, put, lambda request: shown.append(f"< {request}".rstrip()))
    return "".join(line + "\n" for line in shown)


def said(
    requests: list[str], put: Callable[[str, Lines], None], before: Callable[[str], None] = lambda _: None
) -> None:
    """Run `requests` against the demo site; `before` each of them tells which it is."""

    def one_by_one() -> Iterator[str]:
        for request in requests:
            before(request)
            yield request

    async def run(folder: Path, site: DemoServers, areas: DemoAreas) -> None:
        path = folder / "demo.toml"
        text = demo_catalogue(
            site.http_url, site.https_url, site.ca_file, areas=areas.urls, state=folder / "state"
        )
        path.write_text(text, encoding="utf-8")
        catalogue = wiring.read_catalogue(path)
        parts = wiring.Parts(catalogue)
        try:
            await converse(catalogue, parts.answers(lambda: catalogue), one_by_one(), put)
        finally:
            await parts.aclose()

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with DemoServers(folder) as site, DemoAreas(folder) as areas:
            asyncio.run(run(folder, site, areas))


def renewed(text: str) -> str:
    """The document with every session as the demo gateway answers it now."""
    text = _BLOCK.sub(lambda found: found[1] + found[2] + answered(shlex.split(found[3])) + found[4], text)
    text = _OUTPUT.sub(lambda found: found[1] + found[2] + printed(shlex.split(found[3])) + found[4], text)
    return _CONVERSATION.sub(lambda found: found[1] + conversed(typed(found[2])) + found[3], text)


def printed(words: list[str]) -> str:
    """What `headrace words` prints; the demo's catalogue is demo.toml to it."""
    with tempfile.TemporaryDirectory() as name:
        catalogue = Path(name) / "demo.toml"
        nowhere = "https://tides.example/"  # nothing is asked
        text = demo_catalogue(nowhere, nowhere, certifi.where(), state=Path(name) / "state")
        catalogue.write_text(text, encoding="utf-8")
        output = io.StringIO()
        with contextlib.redirect_stdout(output):
            main_command([str(catalogue) if word == "demo.toml" else word for word in words])
    return output.getvalue()


def typed(block: str) -> list[str]:
    """What the client sends in a conversation."""
    return [line[1:].strip() for line in block.splitlines() if line.startswith("<")]


def main() -> int:
    """Write, or tell, whether a session differs."""
    before = README.read_text(encoding="utf-8")
    after = renewed(before)
    if after == before:
        return 0
    print("README.md has sessions that differ from what the demo answers")
    if "--write" in sys.argv[1:]:
        README.write_text(after, encoding="utf-8")
    return 1


if __name__ == "__main__":
    sys.exit(main())
