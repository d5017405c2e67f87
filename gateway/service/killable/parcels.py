"""a document to be laid out <-> bytes for a process that does such work; a Sheet, or a fault <-> bytes.

What goes there is pickled. What comes back is JSON: a process that a hostile document has got hold of can say
something wrong, but not run anything here.
"""

import copyreg
import io
import json
import pickle
import struct
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Protocol

from adapters.errors import HeadraceError, PathFault, TooLarge, TooMuchWork, WrongDocument, WrongWords
from gateway.extract.jsonpath import JsonPath, compile_jsonpath
from gateway.extract.plan import Plan, Record, Sheet, Style

_LENGTH: Final = struct.Struct("!Q")
_FAULTS: Final[dict[str, type[HeadraceError]]] = {
    each.__name__: each
    for each in (HeadraceError, WrongDocument, TooLarge, TooMuchWork, PathFault, WrongWords)
}


class Stream(Protocol):
    """What bytes are read from."""

    def read(self, size: int, /) -> bytes | None:
        """Up to so many; nothing at the end."""
        ...


@dataclass(frozen=True, slots=True)
class Task:
    """One document to be laid out; the members are `extract`'s."""

    body: bytes
    media_type: str
    charset: str | None
    plan: Plan
    style: Style


def packed(task: Task) -> bytes:
    """The task as it is sent."""
    written = io.BytesIO()
    pickler = pickle.Pickler(written, pickle.HIGHEST_PROTOCOL)
    pickler.dispatch_table = {**copyreg.dispatch_table, MappingProxyType: _mapping, JsonPath: _path}
    pickler.dump((task.body, task.media_type, task.charset, task.plan, task.style))
    return framed(written.getvalue())


def unpacked(data: bytes) -> Task:
    """The task that was sent."""
    return Task(*pickle.loads(data))  # noqa: S301 (from our own parent process)


def _mapping(mapping: "MappingProxyType[Any, Any]") -> tuple[Any, ...]:
    return _proxy, (dict(mapping),)


def _proxy(mapping: dict[Any, Any]) -> "MappingProxyType[Any, Any]":
    return MappingProxyType(mapping)


def _path(path: JsonPath) -> tuple[Any, ...]:
    return compile_jsonpath, (path.text,)


def framed(data: bytes) -> bytes:
    """The data behind their length."""
    return _LENGTH.pack(len(data)) + data


def read_frame(stream: Stream, most: int) -> bytes | None:
    """The next data; None at the end. ValueError for more than `most`, or an end in the middle."""
    head = _exactly(stream, _LENGTH.size)
    if head is None:
        return None
    (size,) = _LENGTH.unpack(head)
    if size > most:
        raise ValueError("too much")
    data = _exactly(stream, size)
    if data is None and size:
        raise ValueError("ended too early")
    return data or b""


def _exactly(stream: Stream, size: int) -> bytes | None:
    data = bytearray()
    while len(data) < size:
        piece = stream.read(size - len(data))
        if not piece:
            if data:
                raise ValueError("ended too early")
            return None
        data += piece
    return bytes(data) if size else None


def answer_of(sheet: Sheet) -> bytes:
    """What comes back of a sheet."""
    records = [
        [each.text, each.misfit, each.cut] if each.misfit or each.cut else each.text for each in sheet.records
    ]
    found = [sheet.width, records, sheet.limited, sheet.cuts, sheet.misfits]
    return framed(json.dumps({"sheet": found}, ensure_ascii=False).encode("utf-8", "surrogatepass"))


def answer_of_fault(fault: HeadraceError) -> bytes:
    """What comes back where there is none."""
    names = (each.__name__ for each in type(fault).__mro__ if each.__name__ in _FAULTS)
    position = fault.position if isinstance(fault, PathFault) else 0
    return framed(json.dumps({"fault": [next(names), fault.sentence, position]}).encode())


def sheet_of(data: bytes) -> Sheet:
    """The sheet; the fault is raised. ValueError for anything else."""
    try:
        found = json.loads(data.decode("utf-8", "surrogatepass"))
        if "fault" in found:
            name, sentence, position = found["fault"]
            kind = _FAULTS[str(name)]
            fault = PathFault(str(sentence), int(position)) if kind is PathFault else kind(str(sentence))
        else:
            width, records, limited, cuts, misfits = found["sheet"]
            return Sheet(
                int(width),
                tuple(map(_record, records)),
                bool(limited),
                tuple((str(name), int(count)) for name, count in cuts),
                tuple((str(name), int(count)) for name, count in misfits),
            )
    except (TypeError, KeyError, AttributeError) as error:
        raise ValueError("no answer") from error
    raise fault


def _record(found: object) -> Record:
    if isinstance(found, str):
        return Record(found)
    if not isinstance(found, list):
        raise TypeError(found)
    text, misfit, cut = found
    return Record(str(text), tuple(map(str, misfit)), tuple(map(str, cut)))
