"""What the documents say is what the code does."""

import binascii
import re
import shlex
from pathlib import Path

import pytest

from gateway.catalogue.reading import load_catalogue
from gateway.commands.main import parser
from tests import sessions, tables

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", tables.DOCUMENTS)
def test_tables_are_as_the_code_has_them(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    assert "<!-- table: " in text
    assert tables.renewed(text) == text, "python -m tests.tables --write"


def test_every_table_is_somewhere() -> None:
    documents = "".join((ROOT / name).read_text(encoding="utf-8") for name in tables.DOCUMENTS)
    assert set(re.findall(r"<!-- table: ([a-z-]+) -->", documents)) == set(tables.TABLES_MADE)


def test_sessions_are_what_the_demo_answers() -> None:
    assert "<!-- session -->" in README
    assert sessions.renewed(README) == README, "python -m tests.sessions --write"


def test_checked_requests_have_their_check() -> None:
    """CRC-16/XMODEM is the standard library's `binascii.crc_hqx`, begun with 0."""
    found = re.findall(r"`([A-Z][^`]*) \*([0-9A-F]{4})`", README)
    assert found
    for request, check in found:
        assert f"{binascii.crc_hqx(request.encode('ascii'), 0):04X}" == check


CATALOGUES = re.findall(r"<!-- catalogue -->\n```toml\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize("text", CATALOGUES)
def test_catalogues_are_right(text: str) -> None:
    load_catalogue(text, "headrace.toml", lambda reference: f"secret of {reference}")


def test_the_first_catalogue_is_ten_lines() -> None:
    assert CATALOGUES[0].count("\n") == 10


def test_programs_are_the_ones_that_run() -> None:
    programs = re.findall(r"<!-- program: (\S+) -->\n```basic\n(.*?)```", README, re.DOTALL)
    assert programs
    for name, text in programs:
        assert (ROOT / "demo_site" / "clients" / name).read_text("ascii") == text
        assert text.count("\n") <= 10


def test_commands_are_ones_that_the_program_takes() -> None:
    blocks = re.findall(r"```(?:sh|text)\n(.*?)```", README, re.DOTALL)
    commands = [line.lstrip("$ ").partition("#")[0] for block in blocks for line in block.splitlines()]
    found = [shlex.split(line)[1:] for line in commands if line.startswith("headrace ")]
    assert len(found) >= 4
    for arguments in found:
        parser().parse_args(arguments)


def test_files_that_are_named_exist() -> None:
    for name in re.findall(r"\]\((?!https?:)([^)#]+)\)", README):
        assert (ROOT / name).exists(), name
