"""What has changed is told, and nothing else; what is likely can be pasted and works."""

import json
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from adapters import limits
from gateway.drift.comparing import What, alone, compared
from gateway.extract.plan import Format
from gateway.extract.values import JsonNumber
from tests.gateway.drift.documents import (
    CSV,
    CSV_PLAN,
    JSON_PLAN,
    TIDES,
    WIDE,
    XML,
    XML_PLAN,
    document,
    drift,
    pasted,
    plan,
)


def changed(**changes: Any) -> dict[str, Any]:
    """TIDES with each tide changed: a value or function by name; None takes it away."""
    made = deepcopy(TIDES)
    for tide in made["tides"]:
        for name, value in changes.items():
            old = tide.pop(name, None)
            if value is not None:
                tide[name] = value(old) if callable(value) else value
    return made


def test_as_it_was_with_other_values() -> None:
    now = deepcopy(TIDES)
    now["tides"] = [{**tide, "time": "01:02", "kind": "slack"} for tide in now["tides"]] * 2
    assert compared(JSON_PLAN, document(TIDES), document(now)) == []
    assert drift(XML_PLAN, XML, XML.replace("3.10", "2.9").replace("high", "slack")) == []
    assert drift(CSV_PLAN, CSV, CSV + "20:00,slack,2.0\n") == []


@pytest.mark.parametrize(
    ("now", "field", "likely"),
    [
        (
            changed(height=lambda old: {"level_m": old["metres"], "datum": "chart"}),
            "METRES",
            "$.height.level_m",
        ),
        (changed(height=lambda old: {"is": {"metres": old["metres"]}}), "METRES", "$.height.is.metres"),
        (changed(kind=None, Kind=lambda _: "high"), "KIND", "$.Kind"),
    ],
)
def test_a_field_that_moved(now: dict[str, Any], field: str, likely: str) -> None:
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert (finding.what, finding.field, finding.likely[0]) == (What.GONE, field, likely)
    assert all(value for value in pasted(JSON_PLAN, finding, now))


def test_rows_that_moved() -> None:
    now = {"data": {"station": "Mole", "events": TIDES["tides"]}, "tides": []}
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert (finding.what, finding.likely) == (What.ROWS, ("$.data.events[*]",))
    assert pasted(JSON_PLAN, finding, now) == ["06:57", "13:21", "19:34"]


def test_rows_and_a_field_that_moved() -> None:
    now = {"data": changed(kind=None, type=lambda _: "high")["tides"]}
    rows, field = drift(JSON_PLAN, TIDES, now)
    assert rows.likely == ("$.data[*]",)
    assert (field.what, field.field) == (What.GONE, "KIND")


@pytest.mark.parametrize(
    ("now", "likely"),
    [
        ({"station": "Mole", "tides": TIDES["tides"][0]}, "$.tides"),
        ({"tides": {"all": TIDES["tides"], "count": 3}}, "$.tides.all[*]"),
    ],
)
def test_rows_that_have_none_of_the_fields(now: dict[str, Any], likely: str) -> None:
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert (finding.what, finding.field, finding.likely) == (What.ROWS, "", (likely,))
    assert pasted(JSON_PLAN, finding, now)[0] == "06:57"


def test_the_rows_of_other_things_that_were_there_before_are_not_likely() -> None:
    before = {**TIDES, "lamps": [{"name": "Mole"}]}
    named = plan("$.tides[*]", ("NAME", "$.time"))
    now = {**changed(time=None, name=lambda _: "x"), "lamps": [{"time": "06:57"}]}
    (finding,) = drift(named, before, now)
    assert finding.what is What.GONE


@pytest.mark.parametrize(
    ("time", "likely"),
    [
        (lambda old: {"utc": old, "zone": "+0"}, "$.time.utc"),
        (lambda old: [old], "$.time[0]"),
    ],
)
def test_what_a_value_of_another_kind_holds_is_likely(time: Any, likely: str) -> None:
    now = changed(time=time)
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert (finding.what, finding.likely) == (What.KIND, (likely,))
    assert pasted(JSON_PLAN, finding, now) == ["06:57", "13:21", "19:34"]


@pytest.mark.parametrize("name", ["height (m)[*]", "tide's \\ \n height"])
def test_odd_names_are_likely_too(name: str) -> None:
    now = changed(height=None, **{name: lambda _: 3.1})
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert pasted(JSON_PLAN, finding, now) == [JsonNumber("3.1")] * 3


def test_in_xml() -> None:
    renamed = XML.replace("metres>", "height>")
    (finding,) = drift(XML_PLAN, XML, renamed)
    assert (finding.field, finding.likely) == ("METRES", ("height",))
    assert pasted(XML_PLAN, finding, renamed) == ["3.10", "1.01"]
    element = XML.replace("<tide time='06:57'>", "<tide><time>06:57</time>").replace(
        "<tide time='13:21'>", "<tide><time>13:21</time>"
    )
    (finding,) = drift(XML_PLAN, XML, element)
    assert (finding.field, finding.likely) == ("TIME", ("time",))
    deeper = XML.replace("<harbour>", "<harbour><data>").replace("</harbour>", "</data></harbour>")
    (finding,) = drift(XML_PLAN, XML, deeper)
    assert (finding.what, finding.likely) == (What.ROWS, ("/harbour/data/tides/tide",))
    assert pasted(XML_PLAN, finding, deeper) == ["06:57", "13:21"]


def test_in_xml_with_other_namespaces() -> None:
    """Where the root has a namespace and what is in it has none, a bare name finds nothing (paths of XML)."""
    now = XML.replace("harbour>", "h:harbour>").replace("<h:harbour>", "<h:harbour xmlns:h='urn:x'>")
    now = now.replace("<tide ", "<h:tide ").replace("tide>", "h:tide>").replace("tides>", "h:tides>")
    findings = drift(XML_PLAN, XML, now.replace("h:h:", "h:"))
    assert [(each.field, each.likely) for each in findings] == [
        ("KIND", ("*[local-name()='kind']",)),
        ("METRES", ("*[local-name()='metres']",)),
    ]
    assert pasted(XML_PLAN, findings[0], now.replace("h:h:", "h:")) == ["high", "low"]


def test_in_html() -> None:
    page = "<html><body><table><tr><td class='t'>06:57</td><td>high</td></tr></table></body></html>"
    html_plan = plan("//tr", ("TIME", "td[1]"), ("KIND", "td[2]"), format_=Format.HTML)
    assert drift(html_plan, page, page) == []
    gone = page.replace("<td>high</td>", "")
    (finding,) = drift(html_plan, page, gone)
    assert (finding.what, finding.field) == (What.GONE, "KIND")


def test_in_csv() -> None:
    renamed = CSV.replace("metres", "height_metres")
    (finding,) = drift(CSV_PLAN, CSV, renamed)
    assert (finding.field, finding.likely) == ("METRES", ("height_metres",))
    assert pasted(CSV_PLAN, finding, renamed) == ["3.10", "1.01"]


def test_in_csv_with_none_of_the_columns() -> None:
    findings = drift(CSV_PLAN, CSV, CSV.replace("time,kind,metres", "Time,Kind,Height in metres"))
    likely = [("TIME", ("Time",)), ("KIND", ("Kind",)), ("METRES", ("Height in metres",))]
    assert [(each.field, each.likely) for each in findings] == likely


def test_in_csv_whose_headings_are_blank() -> None:
    """A column without a name is still one, so that its rows are there, without any of the fields."""
    found = alone(CSV_PLAN, document(",,\n06:57,high,3.10\n"))
    assert [(each.what, each.field) for each in found] == [
        (What.NEVER, "TIME"),
        (What.NEVER, "KIND"),
        (What.NEVER, "METRES"),
    ]


@pytest.mark.parametrize(
    ("now", "field", "said"),
    [
        (changed(kind=5), "KIND", "text before, a number now"),
        (changed(spring=None, spring_=None) | {}, "SPRING", "finds nothing"),
        (changed(height=lambda old: {"metres": str(old["metres"])}), "METRES", "a number before, text now"),
        (changed(time=lambda old: [old]), "TIME", "text before, a list now"),
    ],
)
def test_another_kind_of_value(now: dict[str, Any], field: str, said: str) -> None:
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert finding.field == field
    assert said in finding.said


def test_null_in_some_is_no_drift_and_in_all_is() -> None:
    now = deepcopy(TIDES)
    now["tides"][0]["kind"] = None
    assert drift(JSON_PLAN, TIDES, now) == []
    for tide in now["tides"]:
        tide["kind"] = None
    (finding,) = drift(JSON_PLAN, TIDES, now)
    assert finding.said == "text before, always null now"


def test_text_that_is_no_number_any_more() -> None:
    (finding,) = drift(CSV_PLAN, CSV, CSV.replace("3.10", "3.10 m"))
    assert (finding.what, finding.field, finding.said) == (
        What.KIND,
        "METRES",
        "a number before, a number or text now",
    )


def test_what_does_not_fit_any_more() -> None:
    now = changed(height=lambda old: {**old, "metres": 12345.678}, kind="high water")
    fits = drift(WIDE, TIDES, now)
    assert [(each.what, each.field) for each in fits] == [(What.FIT, "KIND"), (What.FIT, "METRES")]
    assert fits[0].said == "is cut to 8 in 3 of 3 records"
    assert fits[1].said.endswith("in 3 of 3 records")
    assert drift(WIDE, now, now) == []  # it never did


def test_no_rows_today_are_no_drift() -> None:
    (finding,) = compared(JSON_PLAN, document(TIDES), document({**TIDES, "tides": []}))
    assert (finding.what, finding.drift) == (What.EMPTY, False)


def test_what_is_new_beside_them_is_told() -> None:
    (finding,) = compared(JSON_PLAN, document(TIDES), document(changed(phase="new moon")))
    assert (finding.drift, finding.said) == (False, "new beside the fields: $.phase")


def test_no_rows_before_tell_nothing() -> None:
    assert drift(JSON_PLAN, {"tides": []}, TIDES) == []


def test_a_column_that_held_anything_may_hold_anything() -> None:
    before = CSV.replace("3.10", "about three")
    assert drift(CSV_PLAN, before, CSV) == []
    assert drift(CSV_PLAN, before, CSV.replace("3.10", "06:57")) == []


def test_rows_that_hold_nothing_within() -> None:
    times = plan("$.tides[*]", ("TIME", "$.time"))
    (finding,) = drift(times, TIDES, {"tides": [657, 1321]})
    assert (finding.what, finding.field, finding.likely) == (What.GONE, "TIME", ())


def test_only_what_works_is_likely() -> None:
    """The name is longer than a path may be; a list's first element has not what others have."""
    long = "x" * limits.PATH_CHARACTERS
    (field,) = drift(JSON_PLAN, TIDES, changed(kind=None, **{long: lambda _: "high"}))
    assert (field.what, field.field, field.likely) == (What.GONE, "KIND", ())
    rows = drift(JSON_PLAN, TIDES, {long: TIDES["tides"]})[0]
    assert (rows.what, rows.likely) == (What.ROWS, ())
    later = [{}, {"kind": "high"}]
    (field,) = drift(JSON_PLAN, TIDES, changed(kind=None, parts=lambda _: later))
    assert (field.what, field.likely) == (What.GONE, ())


def test_nothing_like_it_anywhere() -> None:
    (finding,) = drift(JSON_PLAN, TIDES, changed(kind=None))
    assert finding.likely == ()


def test_without_a_recording() -> None:
    assert alone(JSON_PLAN, document(TIDES)) == []
    (finding,) = alone(JSON_PLAN, document(changed(kind=None)))
    assert (finding.what, finding.field, finding.said) == (
        What.NEVER,
        "KIND",
        '"$.kind" finds nothing in 3 rows',
    )
    (finding,) = alone(WIDE, document(changed(height={"metres": 123456})))
    assert finding.what is What.FIT
    (finding,) = alone(JSON_PLAN, document({"tides": []}))
    assert not finding.drift


names = st.text("abcdefgh", min_size=3, max_size=6)
rows = st.dictionaries(
    names, st.integers(1000, 9999) | st.text("uvwxyz", min_size=4, max_size=7), min_size=3, max_size=6
)


@given(rows, st.integers(2, 4), st.data())
def test_one_edit_is_told_and_nothing_else(row: dict[str, Any], count: int, data: st.DataObject) -> None:
    """Of a document made up, one field is taken away, renamed, put deeper, or given another kind of value."""
    rows_before = [dict(row) for _ in range(count)]
    for number, each in enumerate(rows_before):
        for name, value in each.items():
            each[name] = value + number if isinstance(value, int) else value + "xyz"[: number + 1]
    which = plan("$.list[*]", *((name.upper(), f"$.{name}") for name in row))
    before = {"list": rows_before}
    name = data.draw(st.sampled_from(sorted(row)))
    edit = data.draw(st.sampled_from(["take", "rename", "deeper", "kind", "none"]))
    new = data.draw(names)
    assume(new not in row)
    now = json.loads(json.dumps(before))
    for each in now["list"]:
        value = each.pop(name) if edit != "none" else None
        if edit == "rename":
            each[new] = value
        elif edit == "deeper":
            each["inner"] = {name: value}
        elif edit == "kind":
            each[name] = "text" if isinstance(value, int) else 5
    found = drift(which, before, now)
    if edit == "none":
        assert found == []
        return
    (finding,) = found
    assert finding.field == name.upper()
    assert finding.what is (What.KIND if edit == "kind" else What.GONE)
    if edit in ("rename", "deeper"):
        assert finding.likely[0] == (f"$.{new}" if edit == "rename" else f"$.inner.{name}")
        texts = [
            value.text if isinstance(value, JsonNumber) else value for value in pasted(which, finding, now)
        ]
        assert texts == [str(each[name]) for each in before["list"]]
    elif edit == "take":
        assert finding.likely == ()


def test_rows_that_are_values_of_several_lists_have_no_place_beside_them() -> None:
    """So that nothing can be proposed for what has become of them."""
    values = plan("$.tides[*].metres", ("V", "$"))
    before, now = ({"tides": [{"metres": each}, {"metres": each}]} for each in ("3.10", 3.1))
    found = compared(values, document(before), document(now))
    assert [(each.what, each.likely) for each in found] == [(What.KIND, ())]
