"""The tables of README.md and DEVELOPERS.md, made from the code: python -m tests.tables [--write]

A table stands between `<!-- table: NAME -->` and `<!-- end -->`. Without --write it only tells which differ.
"""

import re
import sys
from collections.abc import Callable, Iterable, Sequence
from itertools import groupby
from pathlib import Path

from adapters import limits
from adapters.ftp.replies import FTP_OUTCOME_TABLE, REPLY_TABLE
from adapters.http.faults import OUTCOME_TABLE
from adapters.http.statuses import STATUS_TABLE
from gateway import rehearsal
from gateway.catalogue.keys.explain import markdown
from gateway.catalogue.keys.key import TABLES
from gateway.modem.commands import ACTIONS
from gateway.modem.extended import EXTENDED_ACTIONS, EXTENDED_PARAMETERS, value_list
from gateway.modem.parameters import PARAMETERS, Parameters, value_of
from gateway.modem.results import Result
from gateway.serial.framing import Framing
from gateway.wire.codes import CODES
from gateway.wire.ready import READY
from gateway.wire.settings import SETTINGS
from gateway.wire.words import REQUESTS
from tests.attacks.table import FAMILIES

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
_PLACE = re.compile(r"(<!-- table: ([a-z-]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def rows(headings: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    """A Markdown table."""
    said = [headings, ["---"] * len(headings), *lines]
    return "".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |\n" for line in said)


def _statements() -> str:
    """What a rehearsal's script can say, as the package's own text has it."""
    _, _, text = (rehearsal.__doc__ or "").partition("\n\n")
    return f"```text\n{text.strip()}\n```\n"


def _code(text: str) -> str:
    return f"`{text}`" if text else ""


def _requests() -> str:
    words = ((_code(f"{each.name} {each.usage}".strip()), each.meaning) for each in REQUESTS.values())
    return rows(("request", "does"), words)


def _codes() -> str:
    return rows(("code", "meaning"), ((str(code), meaning) for code, meaning in CODES.items()))


def _outcomes() -> str:
    def shown(code: int | None, changing: int | None) -> tuple[str, str]:
        return str(code or "-"), "the same" if changing == code else str(changing or "-")

    lines = [(f"HTTP {row.label}", row.meaning, *shown(row.code, row.changing_code)) for row in STATUS_TABLE]
    lines += [("", row.outcome, *shown(row.code, row.changing_code)) for row in OUTCOME_TABLE]
    lines += [(f"FTP {row.label}", row.meaning, *shown(row.code, row.changing_code)) for row in REPLY_TABLE]
    lines += [("", row.outcome, *shown(row.code, row.changing_code)) for row in FTP_OUTCOME_TABLE]
    return rows(("far outcome", "what it means", "code", "code for a change"), lines)


def _settings() -> str:
    lines = [(_code(each.name), _code(each.default), each.values, each.meaning) for each in SETTINGS.values()]
    return rows(("setting", "default", "values", "meaning"), lines)


def _keys(table: str) -> Callable[[], str]:
    return lambda: f"{_code(TABLES[table])}\n\n{markdown(table)}"


def _limits() -> str:
    text = Path(limits.__file__).read_text(encoding="utf-8")
    found = re.findall(r"^([A-Z_]+): Final = .*?# (.+)$", text, re.MULTILINE)
    return rows(
        ("limit", "value", "of what"),
        ((_code(name), f"{getattr(limits, name):,}", why) for name, why in found),
    )


def _ready_profiles() -> str:
    lines = [(_code(each.name.lower()), each.trait, _code(each.words)) for each in READY.values()]
    return rows(("profile", "the trait that needs it", "settings"), lines)


def _line_arithmetic() -> str:
    lines = []
    for rate in (110, 300, 1_200, 2_400, 4_800, 9_600, 19_200):
        framing = Framing(rate, stop_bits=2) if rate == 110 else Framing(rate)
        character = framing.seconds
        lines.append(
            (
                f"{rate:,} {framing.name}",
                f"{float(1 / character):,.0f}",
                f"{float(character * 1_000):.3f}",
                f"{float(character * 1_000_000):,.0f}",
                f"{float(character * 42 * 1_000):,.0f}",
                f"{float(character * (18 + 24 * 42)):,.1f}",
            )
        )
    headings = (
        "bits a second",
        "characters a second",
        "ms a character",
        "cycles at 1 MHz",
        "ms a record",
        "seconds for 24 records",
    )
    return rows(headings, lines)


def _modem_commands() -> str:
    lines = [("`A/`", "", "", "The last line once more; without `AT`, and nothing ends it")]
    lines += [("`D`", "", "", "Call: a name, a host and port, or a number, as above")]
    lines += [(_code(each.name), "0" if each.numbered else "", "", each.meaning) for each in ACTIONS.values()]
    plain = Parameters()
    for each in PARAMETERS.values():
        default = _code(str(value_of(plain, each.name)))
        shown = f"{each.name}=" if each.name.startswith("S") else each.name
        lines.append((_code(shown), f"{each.lowest}-{each.highest}", default, each.meaning))
    lines += [(_code(each.name), "", "", each.meaning) for each in EXTENDED_ACTIONS.values()]
    for extended in EXTENDED_PARAMETERS.values():
        values = ",".join(value_list(part) for part in extended.values)
        default = ",".join(str(getattr(plain, field)) for field in extended.fields)
        lines.append((_code(f"{extended.name}="), values or "its own", _code(default), extended.meaning))
    return rows(("command", "values", "default", "does"), lines)


def _modem_results() -> str:
    lines = [(str(each.number), _code(each.words), each.meaning) for each in Result]
    return rows(("number", "words", "when"), lines)


def _once(reply: str) -> str:
    """Replies as code, with what comes again and again said once."""
    parts = [(part, len(list(same))) for part, same in groupby(reply.split("; "))]
    return ", ".join(_code(part) + (f" {count} times" if count > 1 else "") for part, count in parts)


def _attacks() -> str:
    """A table for each family; "x" where a row is tried through a process of `headrace serve`, too."""
    headings = ("attack", "on", "what is done", "what comes", "process", "source")
    parts = []
    for family, attacks in FAMILIES.items():
        lines = (
            (each.name, each.target, each.does, _once(each.reply), "x" if each.served else "", each.source)
            for each in attacks
        )
        parts.append(f"{family}, {len(attacks)} rows:\n\n{rows(headings, lines)}")
    return "\n".join(parts)


TABLES_MADE: dict[str, Callable[[], str]] = {
    "requests": _requests,
    "codes": _codes,
    "outcomes": _outcomes,
    "settings": _settings,
    "ready-profiles": _ready_profiles,
    "line-arithmetic": _line_arithmetic,
    "limits": _limits,
    "modem-commands": _modem_commands,
    "modem-results": _modem_results,
    "statements": _statements,
    "attacks": _attacks,
    **{f"keys-{name}": _keys(name) for name in TABLES if name not in {"", "profile"}},
}


def renewed(text: str) -> str:
    """A document with every table as the code has it now."""
    return _PLACE.sub(lambda found: f"{found[1]}\n{TABLES_MADE[found[2]]()}\n{found[3]}", text)


def main() -> int:
    """Write, or tell, what differs."""
    stale = 0
    for name in DOCUMENTS:
        path = ROOT / name
        before = path.read_text(encoding="utf-8")
        after = renewed(before)
        if after != before:
            stale = 1
            print(f"{name} has tables that differ from the code")
            if "--write" in sys.argv[1:]:
                path.write_text(after, encoding="utf-8")
    return stale


if __name__ == "__main__":
    sys.exit(main())
