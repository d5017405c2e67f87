"""The table of keys and the reader agree: what is explained is read, and what is read is explained."""

import re

import pytest

from gateway.catalogue.document.parsing import parse
from gateway.catalogue.keys.explain import KEYS, explained, markdown
from gateway.catalogue.keys.key import TABLES, Shape
from gateway.catalogue.model import GatewaySettings, Listener, Place
from gateway.catalogue.reading import read_document
from gateway.catalogue.schema.report import Report
from gateway.wire.settings import SETTINGS, Settings, shown
from tests.gateway.catalogue.example import SECRETS, TEXT
from tests.gateway.catalogue.marked import load, source


def test_every_key_is_read_and_every_key_read_is_explained() -> None:
    """The reader notes each key that it asks for; the example holds every table."""
    parsed = parse(TEXT)
    report = Report(TEXT, parsed, SECRETS.get)
    read_document(parsed, report, "harbour.toml")
    assert not report.mistakes
    assert report.read == {(key.table, key.name) for key in KEYS}


def test_the_example_holds_every_key_so_that_each_is_loaded_once() -> None:
    for key in KEYS:
        assert re.search(rf"(?:^|[\[. {{]){re.escape(key.name)}(?:[\]. ]|$)", TEXT, re.MULTILINE), key


def test_defaults_are_those_of_the_model() -> None:
    defaults = {(key.table, key.name): key.default for key in KEYS}
    gateway, listener = GatewaySettings(), Listener()
    for name in ("wait", "clients", "idle", "stall"):
        assert float(defaults["gateway", name]) == getattr(gateway, name)
    assert defaults["gateway", "state"] == gateway.state
    assert (defaults["listen", "host"], defaults["listen", "port"]) == (listener.host, str(listener.port))
    assert defaults["listen", "profile"].upper() == listener.profile
    assert defaults["listen", "resume"] == shown(listener.resume).replace("off", "false")
    assert float(defaults["listen", "resume_for"]) == listener.resume_for
    assert defaults["place", "write"] == shown(Place("X", "").write).replace("off", "false")
    assert defaults["place", "raw"] == shown(Place("X", "").raw).replace("off", "false")
    assert defaults["place", "charset"] == Place("X", "").charset
    for name in SETTINGS:
        assert defaults["profile", name] == shown(getattr(Settings(), name))
    read = load(source("")).sources["A"]
    assert (defaults["source", "method"], defaults["source", "format"]) == (
        read.method,
        read.plan.format.value,
    )
    assert (defaults["source", "gap"], defaults["source", "descending"]) == (str(read.plan.gap), "false")
    (field,) = read.plan.fields
    assert defaults["field", "kind"] == field.kind.value
    assert defaults["field", "decimals"] == str(field.decimals)
    assert (defaults["field", "missing"], defaults["field", "null"]) == ('""', f'"{field.null}"')
    assert defaults["field", "cut"] == field.cut.value


def test_explained_has_every_key_below_its_table() -> None:
    text = explained()
    for header in TABLES.values():
        assert f"\n{header}\n" in "\n" + text
    assert len(re.findall(r"^  [a-z_]+ ", text, re.MULTILINE)) == len(KEYS)
    assert max(map(len, text.split("\n"))) <= 100
    assert max(map(len, explained(72).split("\n"))) <= 72


def test_explained_swallows_nothing_and_repeats_nothing() -> None:
    sections = [each.split("\n") for each in explained(400).split("\n\n")]
    headings = [each[0] for each in sections]
    assert len(set(headings)) == len(headings)
    assert {"[gateway]", "[[listen]]", "[place.NAME]", "[source.NAME]", "[[source.NAME.field]]"} <= set(
        headings
    )
    for section in sections:
        names = [line.split()[0] for line in section[1:]]
        assert len(set(names)) == len(names)
    whole = explained(400)
    assert "; plain, or a [profile.NAME]; default plain\n" in whole
    for key in KEYS:
        assert key.meaning in whole
        assert key.allowed in whole
        (_,) = [
            each
            for section in sections
            if section[0] == TABLES[key.table]
            for each in section[1:]
            if each.split()[0] == key.name
        ]


@pytest.mark.parametrize("table", TABLES)
def test_markdown_has_a_row_a_key(table: str) -> None:
    rows = markdown(table).strip().split("\n")[2:]
    assert [row.split("`")[1] for row in rows] == [key.name for key in KEYS if key.table == table]
    assert all(len(re.findall(r"(?<!\\)\|", row)) == 6 for row in rows)


def test_every_key_says_what_it_means_and_takes() -> None:
    for key in KEYS:
        assert key.meaning
        assert key.allowed
        assert "\n" not in key.meaning + key.allowed + key.default
        assert key.shape is not Shape.WORD or key.words
