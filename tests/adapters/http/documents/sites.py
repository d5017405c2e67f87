"""A server of one document whose every answer is made by the test from what was asked."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.adapters.http.talks import Line, Talk, field_of

BODY = bytes(range(256)) * 40  # 10,240 bytes
TAG = '"v1"'


@dataclass(frozen=True)
class Asked:
    """One request. `first` and `last` are its range's, as far as it has one."""

    number: int
    method: str
    path: str
    head: str

    @property
    def range(self) -> str | None:
        return field_of(self.head, "range")

    @property
    def first(self) -> int:
        found = re.match(r"bytes=(\d+)-", self.range or "")
        return int(found[1]) if found else 0

    @property
    def last(self) -> int | None:
        found = re.match(r"bytes=\d+-(\d+)", self.range or "")
        return int(found[1]) if found else None


@dataclass(frozen=True)
class Give:
    """An answer: `cut` bytes of the body are sent (None: all) and then the connection is closed."""

    status: str = "200 OK"
    body: bytes = b""
    fields: tuple[str, ...] = ()
    cut: int | None = None
    length: int | None = None


@dataclass
class Site:
    """`give` makes the answers; `asked` are the requests so far."""

    give: Callable[[Asked], Give]
    asked: list[Asked] = field(default_factory=list)

    @property
    def talk(self) -> Talk:
        async def talk(line: Line) -> None:
            while True:
                head = await line.head()
                method, path, _ = head.partition("\r\n")[0].split(" ")
                await line.take(int(field_of(head, "content-length") or 0))
                self.asked.append(Asked(len(self.asked), method, path, head))
                give = self.give(self.asked[-1])
                length = len(give.body) if give.length is None else give.length
                fields = "".join(f"{each}\n" for each in give.fields)
                await line.say(f"HTTP/1.1 {give.status}\nContent-Length: {length}\n{fields}\n")
                if method == "HEAD" or give.status.startswith("304"):
                    continue
                await line.say(give.body if give.cut is None else give.body[: give.cut])
                if give.cut is not None:
                    return

        return talk

    def ranges(self) -> list[str | None]:
        return [each.range for each in self.asked]


def part(asked: Asked, body: bytes = BODY, *fields: str, cut: int | None = None) -> Give:
    """What an honest server gives for a range, or the whole where none was asked for."""
    if asked.range is None:
        return Give(body=body, fields=("Accept-Ranges: bytes", *fields), cut=cut)
    if asked.first >= len(body):
        return Give("416 Range Not Satisfiable", fields=(f"Content-Range: bytes */{len(body)}",))
    last = len(body) - 1 if asked.last is None else min(asked.last, len(body) - 1)
    told = f"Content-Range: bytes {asked.first}-{last}/{len(body)}"
    return Give("206 Partial Content", body[asked.first : last + 1], (told, *fields), cut)
