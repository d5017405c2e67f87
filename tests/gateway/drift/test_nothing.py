"""A day without rows is told from rows that are elsewhere."""

import pytest

from gateway.drift.comparing import What, compared
from gateway.extract.plan import Plan
from tests.gateway.drift.documents import CSV, CSV_PLAN, JSON_PLAN, TIDES, XML, XML_PLAN, document, plan

OTHER = {**TIDES, "old": TIDES["tides"]}
OPEN = plan("$.tides[?@.spring]", ("TIME", "$.time"))
NO_TIDE = XML[: XML.index("<tide ")]


@pytest.mark.parametrize(
    ("which", "before", "now"),
    [
        (JSON_PLAN, TIDES, {"station": "Mole", "tides": []}),
        (JSON_PLAN, TIDES, {"station": "Mole", "tides": None}),
        (JSON_PLAN, OTHER, {**OTHER, "tides": []}),
        (plan("$[*]", ("A", "$.a")), [{"a": 1}], []),
        (plan("$.marks[*]", ("V", "$")), {"at": "Mole", "marks": [1, 2]}, {"at": "Mole", "marks": []}),
        (plan("$.marks[*]", ("V", "$")), {"marks": ["a"]}, {"marks": None}),
        (plan("$[*]", ("V", "$")), [1, 2], []),
        (plan("$.tides[?@.kind=='low']", ("TIME", "$.time")), TIDES, {"tides": [TIDES["tides"][0]]}),
        (XML_PLAN, XML, "<harbour><tides/></harbour>"),
        (XML_PLAN, XML, "<harbour><tides none='true'>\n</tides></harbour>"),
        (XML_PLAN, XML.replace("<tide ", "<at>x</at><tide "), f"{NO_TIDE}<at>y</at></tides></harbour>"),
        (CSV_PLAN, CSV, "time,kind,metres\n"),
    ],
)
def test_none_today(which: Plan, before: object, now: object) -> None:
    (finding,) = compared(which, document(before), document(now))
    assert (finding.what, finding.said) == (What.EMPTY, "there are no rows now")


@pytest.mark.parametrize(
    ("which", "now"),
    [
        (JSON_PLAN, {"station": "Mole"}),
        (JSON_PLAN, {"station": "Mole", "tides": "see our new service"}),
        (JSON_PLAN, {"tides": [], "events": TIDES["tides"]}),
        (plan("$.tides", ("TIME", "$.time")), {"station": "Mole"}),
        (plan("$.tides[*].time", ("TIME", "$")), {"station": "Mole"}),
        (OPEN, {"tides": [{"time": "06:57", "Spring": True}]}),
        (XML_PLAN, "<harbour/>"),
        (XML_PLAN, "<harbour><tides>moved away</tides></harbour>"),
        (XML_PLAN, "<harbour><tides><event at='06:57'/></tides></harbour>"),
        (CSV_PLAN, "Zeit,Art,Meter\n"),
    ],
)
def test_gone_elsewhere(which: Plan, now: object) -> None:
    before = XML if which is XML_PLAN else CSV if which is CSV_PLAN else TIDES
    finding = compared(which, document(before), document(now))[0]
    assert (finding.what, finding.field) == (What.ROWS, "")
    assert '""' not in finding.said
