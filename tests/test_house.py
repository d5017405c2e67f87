"""The house rules, checked by the same command as everything else."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "gateway",
    "adapters",
    "tests",
    "demo_site",
}
REASONED = re.compile(r"  # pragma: no (cover|branch) — \S.{9,}$")
"""In words, and only where coverage.py is to leave out a line, or a way that a line never goes."""
BUILT = {"build", "dist", "headrace.egg-info", "headrace-state", "__pycache__"}
SOURCES = sorted(path for top in ("gateway", "adapters", "demo_site") for path in (ROOT / top).rglob("*.py"))


def run(*command: str) -> None:
    done = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_lint() -> None:
    run("-m", "ruff", "check", ".")


def test_format() -> None:
    run("-m", "ruff", "format", "--check", ".")


def test_types() -> None:
    run("-m", "mypy")


def test_import_contracts() -> None:
    run("-c", "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports())")


def test_top_level_holds_what_was_agreed() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - BUILT
    assert found == TOP_LEVEL


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_file_does_one_thing_and_says_which(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 400
    assert text.startswith('"""'), "a module's docstring opens with what goes in and what comes out"
    assert not re.search(r"TODO|FIXME|XXX|NotImplementedError", text)


def test_what_coverage_leaves_out_says_why() -> None:
    bare = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in SOURCES
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"#\s*pragma", line, re.IGNORECASE) and not REASONED.search(line)
    ]
    assert bare == []


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_has_a_test_file(path: Path) -> None:
    if path.name == "__init__.py":
        return
    relative = path.relative_to(ROOT)
    mirrored = ROOT / "tests" / relative.parent / f"test_{path.stem}.py"
    by_folder = ROOT / "tests" / relative.parent.parent / f"test_{relative.parent.name}.py"
    elsewhere = ROOT / "tests" / ELSEWHERE.get(str(relative), "none of these")
    assert mirrored.exists() or by_folder.exists() or elsewhere.exists(), f"no test file for {relative}"


_TALK = "gateway/session/test_conversation.py"
_PATHS = "gateway/extract/jsonpath/test_compile.py"
ELSEWHERE = {
    "adapters/listening.py": "adapters/stream/test_listening.py",
    "gateway/commands/findings.py": "gateway/commands/test_doctor.py",
    "gateway/service/doors.py": "gateway/service/test_server.py",
    "gateway/service/outlook.py": "gateway/service/running/test_page.py",
    "gateway/service/running/counts.py": "gateway/service/running/test_page.py",
    "adapters/recorded/asking.py": "adapters/recorded/http/test_recording.py",
    "adapters/recorded/exchange.py": "adapters/recorded/test_folder.py",
    "adapters/recorded/ports.py": "adapters/recorded/test_folder.py",
    "gateway/archives/outcome.py": "gateway/archives/test_messages.py",
    "gateway/drift/kinds.py": "gateway/drift/test_comparing.py",
    "gateway/drift/likely.py": "gateway/drift/test_comparing.py",
    "gateway/rehearsal/line.py": "gateway/rehearsal/test_running.py",
    "gateway/rehearsal/script/steps.py": "gateway/rehearsal/script/test_reading.py",
    "gateway/rehearsal/script/writing.py": "gateway/rehearsal/script/test_reading.py",
    "gateway/extract/jsonpath/functions.py": "gateway/extract/jsonpath/test_evaluate.py",
    "gateway/extract/jsonpath/library.py": _PATHS,
    "gateway/extract/jsonpath/nodes.py": "gateway/extract/jsonpath/test_grammar.py",
    "gateway/extract/jsonpath/selection.py": "gateway/extract/jsonpath/test_evaluate.py",
    "gateway/extract/jsonpath/walk.py": _PATHS,
    "gateway/listings/assembly/mos6502_check.py": "gateway/listings/assembly/test_mos6502.py",
    "gateway/listings/assembly/mos6502_parts.py": "gateway/listings/assembly/test_mos6502.py",
    "gateway/listings/assembly/mos6502_reply.py": "gateway/listings/assembly/test_mos6502.py",
    "gateway/listings/assembly/z80_line.py": "gateway/listings/assembly/test_z80.py",
    "gateway/listings/assembly/z80_parts.py": "gateway/listings/assembly/test_z80.py",
    "gateway/catalogue/keys/rights_keys.py": "gateway/catalogue/keys/test_table.py",
    "gateway/catalogue/schema/values/networks.py": "gateway/catalogue/schema/test_listeners.py",
    "gateway/commands/membership.py": "gateway/commands/test_member.py",
    "gateway/service/clients/guest.py": "gateway/service/modems/test_guests.py",
    "gateway/session/joining.py": "gateway/session/test_access.py",
    "gateway/catalogue/keys/listener_keys.py": "gateway/catalogue/keys/test_table.py",
    "gateway/catalogue/keys/place_keys.py": "gateway/catalogue/keys/test_table.py",
    "gateway/catalogue/schema/values/encodings.py": "gateway/catalogue/schema/test_places.py",
    "gateway/catalogue/schema/values/hosts.py": "gateway/catalogue/schema/test_listeners.py",
    "gateway/session/dispatch.py": _TALK,
    "gateway/modem/effects.py": "gateway/modem/test_modem.py",
    "gateway/modem/terminal.py": "gateway/modem/test_modem.py",
    "gateway/session/asking.py": _TALK,
    "gateway/session/telling.py": _TALK,
    "gateway/session/state.py": _TALK,
    "gateway/session/steps.py": _TALK,
    "gateway/session/wishes.py": _TALK,
    "gateway/listings/c89_parts.py": "gateway/listings/test_c89.py",
    "gateway/listings/c89_reply.py": "gateway/listings/test_c89.py",
    "gateway/service/clients/client.py": "gateway/service/clients/test_connection.py",
    "gateway/service/clients/granting.py": "gateway/service/clients/test_connection.py",
    "gateway/service/clients/sending.py": "gateway/service/clients/test_connection.py",
    "gateway/service/clients/turns.py": "gateway/service/clients/test_connection.py",
    "gateway/service/server.py": "gateway/service/clients/test_connection.py",
    "gateway/service/streams/open_call.py": "gateway/service/counter/test_call.py",
    "gateway/wire/blocks/effects.py": "gateway/wire/blocks/test_noise.py",
    "gateway/wire/blocks/patience.py": "gateway/wire/blocks/test_noise.py",
    "gateway/wire/codes.py": "adapters/test_errors.py",
}
"""Modules without a test file of their own, and where they are tested instead."""
