"""The pure stages that are fuzzed: name -> what of the house is watched for new ways through it, and marks.

A stage's target is `tests/fuzz/targets/NAME.py`; its docstring states the invariant. It has `check`, which is
given any bytes and raises where the invariant does not hold, and `seeds`, from which the fuzzer starts.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import import_module
from typing import Final, Protocol, cast


class Target(Protocol):
    """What a target's module has."""

    def check(self, data: bytes) -> None:
        """Raise where the stage's invariant does not hold for `data`."""

    def seeds(self) -> Iterable[bytes]:
        """Inputs to start from: those of the stage's own tests, and what is published."""


@dataclass(frozen=True, slots=True)
class Stage:
    """`watched`: packages whose branches count as coverage. `marks`: what the mutator puts in as a whole."""

    name: str
    module: str
    watched: tuple[str, ...]
    marks: tuple[bytes, ...]
    most: int = 4_096  # bytes of one input

    def target(self) -> Target:
        """The stage's target; imported here, so that what it imports can be watched."""
        return cast(Target, import_module(f"tests.fuzz.targets.{self.module}"))


_MARKUP: Final = (b"<a>", b"</a>", b"<a/>", b"<!--", b"-->", b"<![CDATA[", b"]]>", b"<?xml ", b"?>", b"&amp;")
_WORDS: Final = (b"ASK ", b"PICK ", b"SET ", b"MORE\r", b"AGAIN ", b"WHY\r", b"BASE ", b"LIST ", b"LOGIN ")

STAGES: Final = {
    each.name: each
    for each in (
        Stage(
            "line",
            "line",
            ("gateway.wire.lines", "gateway.wire.telnet", "gateway.wire.editing"),
            (
                b"\xff\xfb",
                b"\xff\xfa",
                b"\xff\xf0",
                b"\xff\xf7",
                b"\xff\xf8",
                b"\r\n",
                b"\r\0",
                b"? >",
                b"R9\r",
            ),
        ),
        Stage(
            "request",
            "request",
            ("gateway.wire", "gateway.session"),
            (
                *(*_WORDS, b"STORE ", b"TALK ", b"HEAR ", b"TELL ", b"NOOP ", b"TIME ", b"HELP ", b"LAYOUT "),
                *(b"cols=", b"check=crc", b"window=2", b"page=1", b"eol=9b", b"charset=", b"bits=7", b"\r"),
                *(b"mark=on", b"guard=on", b"case=upper", b"%41", b"club:", b"#1", b'"', b"''", b"https://"),
            ),
        ),
        Stage(
            "catalogue",
            "catalogue",
            ("gateway.catalogue", "gateway.listings"),
            (
                *(b"[gateway]\n", b"[[listen]]\n", b"[place.a]\n", b"[source.a]\n", b"[[source.a.field]]\n"),
                *(b"[profile.a]\n", b"[phone.1]\n", b"[hear.99]\n", b"[rights.a]\n", b'secret = "env:KEY"\n'),
                *(b'"""', b"'''", b" = ", b"{ ", b" }", b"url = ", b"base = ", b"width = ", b'at = "$.a"\n'),
            ),
            most=2_048,
        ),
        Stage(
            "listing",
            "listing",
            (
                "adapters.ftp.listing",
                "adapters.http",
                "gateway.extract.folders",
                "gateway.extract.fields.text",
            ),
            (
                *(b"type=", b"size=", b"modify=", b"-rw-r--r-- 1 a b 7 ", b"drwxr-xr-x ", b"Nov 14 21:05 "),
                *(
                    b"2024-02-29 ",
                    b"<DIR>",
                    b"02-29-24  12:30PM ",
                    b"+s5,m9,\t",
                    b" -> ",
                    b"total 8",
                    b"\r\n",
                ),
            ),
        ),
        Stage(
            "multistatus",
            "multistatus",
            (
                "adapters.dav.multistatus",
                "adapters.dav.dates",
                "adapters.dav.hrefs",
                "adapters.http.answer.dates",
            ),
            (
                *(
                    *_MARKUP,
                    b'<multistatus xmlns="DAV:">',
                    b"<response>",
                    b"<href>",
                    b"<propstat>",
                    b"<prop>",
                ),
                *(b"<status>HTTP/1.1 200 OK</status>", b"<getetag>", b"<getcontentlength>", b"%2F", b"&#13;"),
            ),
        ),
        Stage(
            "json",
            "json_values",
            ("gateway.extract", "gateway.wire.replies"),
            (
                *(b"$..", b"[*]", b"[?@.", b"[::-1]", b"[1:2]", b"['a']", b"length(", b"match(", b"search("),
                *(b"value(", b"count(", b"==", b"<=", b"&&", b"||", b'"a":', b"null", b"true", b"\\ud83d"),
                *(b"\\u0000", b"1e9", b"-0", b"\x1e", b"\xef\xbb\xbf", b"\xff\xfe", b"{}", b"[]", b"NaN"),
            ),
        ),
        Stage(
            "xml",
            "xml_values",
            ("gateway.extract", "gateway.wire.replies"),
            (
                *(
                    *_MARKUP,
                    b"<!DOCTYPE ",
                    b"<!ENTITY ",
                    b"&#10;",
                    b"xmlns:a=",
                    b'encoding="',
                    b"<meta charset=",
                ),
                *(
                    b"//",
                    b"::",
                    b"@*",
                    b"[1]",
                    b"text()",
                    b"position()",
                    b"ancestor::",
                    b"following::",
                    b" and ",
                ),
                *(b"string(", b"count(", b"substring(", b"normalize-space(", b" | ", b" div ", b"last()"),
            ),
        ),
    )
}

BROKEN: Final = Stage("broken", "broken", ("gateway.wire.words",), (b"ASK",), most=16)
"""A stage with a finding, for the test of the fuzzer."""
