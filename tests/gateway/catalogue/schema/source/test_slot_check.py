"""Uses of args."""

from gateway.catalogue.document.parsing import parse
from gateway.catalogue.schema.report import Report
from gateway.catalogue.schema.source.slot_check import SlotCheck
from tests.gateway.catalogue.marked import NO_SECRETS

TEXT = 'x = "a {one} {tow}"\n'


def test_uses_are_collected_and_unknown_names_reported_at_their_place() -> None:
    report = Report(TEXT, parse(TEXT), NO_SECRETS.get)
    check = SlotCheck(report, ("one", "two"), certain=True)
    check.text(("x",), "a {one} {tow}")
    assert check.used == {"one", "tow"}
    (mistake,) = report.mistakes
    assert (mistake.column, mistake.length, mistake.nearest) == (15, 3, "two")


def test_nothing_is_unknown_while_the_args_are() -> None:
    report = Report(TEXT, parse(TEXT), NO_SECRETS.get)
    SlotCheck(report, (), certain=False).text(("x",), "a {one} {tow}")
    assert not report.mistakes
