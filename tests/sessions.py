"""The sessions in README.md, as the demo gateway really answers: python -m tests.sessions [--write]

A session stands in a text block after `<!-- session -->`. Its first line is a `headrace say` command; what
follows is the reply, with a ruler between the status line and the records.
"""

import asyncio
import re
import shlex
import sys
import tempfile
from pathlib import Path

from demo_site.areas.running import DemoAreas
from demo_site.catalogue import demo_catalogue
from demo_site.servers import DemoServers
from gateway.commands import wiring
from gateway.commands.demo import ruler
from gateway.commands.say import converse
from gateway.session.conversation import Lines

README = Path(__file__).parents[1] / "README.md"
_BLOCK = re.compile(
    r"(<!-- session -->\n```text\n)(\$ headrace say --config demo\.toml (.*)\n)(?:.*\n)*?(```)"
)


def answered(requests: list[str]) -> str:
    """The replies of the demo gateway to `requests` on one connection, rulers added."""
    shown: list[str] = []

    def put(lines: Lines) -> None:
        status, *records = [line.decode("ascii").rstrip("\r\n") for line in lines]
        shown.append(status)
        if records:
            shown.extend([ruler(len(records[0])), *records])

    async def run(folder: Path, site: DemoServers, areas: DemoAreas) -> None:
        path = folder / "demo.toml"
        text = demo_catalogue(
            site.http_url, site.https_url, site.ca_file, areas=areas.urls, state=folder / "state"
        )
        path.write_text(text, encoding="utf-8")
        catalogue = wiring.read_catalogue(path)
        parts = wiring.Parts(catalogue)
        try:
            await converse(catalogue, parts.answers(lambda: catalogue), requests, put)
        finally:
            await parts.aclose()

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with DemoServers(folder) as site, DemoAreas(folder) as areas:
            asyncio.run(run(folder, site, areas))
    return "".join(line + "\n" for line in shown)


def renewed(text: str) -> str:
    """The document with every session as the demo gateway answers it now."""
    return _BLOCK.sub(lambda found: found[1] + found[2] + answered(shlex.split(found[3])) + found[4], text)


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
