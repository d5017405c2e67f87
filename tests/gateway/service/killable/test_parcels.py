"""What goes to a process that lays documents out, and what comes back."""

import io
import json
from types import MappingProxyType

import pytest

from adapters.errors import HeadraceError, PathFault, TooLarge, TooMuchWork, WrongDocument
from gateway.extract.plan import Field, Kind, Plan, Record, Sheet, Style
from gateway.service.killable.parcels import (
    Task,
    answer_of,
    answer_of_fault,
    framed,
    packed,
    read_frame,
    sheet_of,
    unpacked,
)
from gateway.session.picking import pick_plan

PLAN = Plan(
    (Field("A", 5), Field("B", 3, Kind.FIXED, decimals=1, map=MappingProxyType({"x": "1"}))),
    letters=MappingProxyType({"ü": "ue"}),
    namespaces=MappingProxyType({"n": "urn:n"}),
    distinct=True,
)
SHEET = Sheet(
    4,
    (Record("abcd"), Record("****", misfit=("A",)), Record("Grü\ud800", cut=("A", "B"))),
    True,
    (("A", 1), ("B", 1)),
    (("A", 1),),
)


@pytest.mark.parametrize(
    "plan",
    [
        PLAN,
        pick_plan("$..[?@.a>1]", ["$.b:9", "$.c:4i"]),
        pick_plan("//a[@x='1']/following::b[position()<count(//c)]", ["c/@d:3", "string(.):9"]),
    ],
)
def test_a_task_comes_out_as_it_went_in(plan: Plan) -> None:
    task = Task(b"\x00\xff{}", "application/json", "utf-8", plan, Style("latin1", "Europe/Berlin"))
    data = read_frame(io.BytesIO(packed(task)), 1 << 20)
    assert data is not None
    assert unpacked(data) == task


def test_a_sheet_comes_back_as_it_was() -> None:
    data = read_frame(io.BytesIO(answer_of(SHEET)), 1 << 20)
    assert data is not None
    assert sheet_of(data) == SHEET


@pytest.mark.parametrize(
    "fault",
    [
        WrongDocument("Not JSON"),
        TooLarge("Too many rows"),
        TooMuchWork(),
        PathFault("No such path", 7),
        HeadraceError(),
    ],
)
def test_a_fault_comes_back_as_it_was(fault: HeadraceError) -> None:
    data = read_frame(io.BytesIO(answer_of_fault(fault)), 1 << 20)
    assert data is not None
    with pytest.raises(type(fault)) as raised:
        sheet_of(data)
    assert type(raised.value) is type(fault)
    assert raised.value.sentence == fault.sentence
    assert getattr(raised.value, "position", 0) == getattr(fault, "position", 0)


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"\xff",
        b"null",
        b"[]",
        b"{}",
        b'{"sheet": 1}',
        b'{"sheet": [1, [2], false, [], []]}',
        b'{"sheet": [1, [["a", "b"]], false, [], []]}',
        b'{"sheet": ["x", [], false, [], []]}',
        b'{"fault": ["OSError", "x", 0]}',
        b'{"fault": ["SystemExit", "x"]}',
        b"[" * 100_000,
    ],
)
def test_anything_else_is_no_answer(answer: bytes) -> None:
    """Whatever a process says that a document has got hold of (CWE-502): it is read, never run."""
    with pytest.raises((ValueError, RecursionError)):
        sheet_of(answer)


def test_frames() -> None:
    assert read_frame(io.BytesIO(b""), 9) is None
    assert read_frame(io.BytesIO(framed(b"")), 9) == b""
    assert read_frame(io.BytesIO(framed(b"abc") + b"more"), 9) == b"abc"
    for data in (framed(b"0123456789"), framed(b"abc")[:-1], framed(b"abc")[:4], framed(b"abc")[:8]):
        with pytest.raises(ValueError, match=r"too much|too early"):
            read_frame(io.BytesIO(data), 9)


def test_no_answer_is_pickled() -> None:
    assert json.loads(answer_of(SHEET)[8:].decode("utf-8", "surrogatepass"))["sheet"][0] == 4
