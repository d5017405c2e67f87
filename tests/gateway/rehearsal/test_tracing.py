"""Sessions that happen are scripts that happen again, the same."""

import os
import re
import tempfile
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from adapters import limits
from adapters.redaction import Redactor
from gateway.rehearsal.script.patterns import Literal, Pattern
from gateway.rehearsal.script.reading import read_script
from gateway.rehearsal.script.steps import Close, Closed, Ends, Hear, Put, Reset, Say, Take
from gateway.rehearsal.tracing import Trace
from tests.disks import largest_file


def statements(path: Path) -> list[str]:
    return [line for line in path.read_text().splitlines() if not line.startswith("#")]


def trace(tmp_path: Path, *secrets: str) -> Trace:
    redactor = Redactor()
    for secret in secrets:
        redactor.learn(secret)
    return Trace(tmp_path / "trace", redactor)


def test_one_session(tmp_path: Path) -> None:
    made = trace(tmp_path)
    one = made.begin(1)
    made.said(one, b"NO")
    made.said(one, b"OP\r\n")
    made.heard(one, b"200 00001 ")
    made.heard(one, b"004 ..\r\nab  \r\n")
    made.said(one, b"READ x\r\n\x01\x02")
    made.heard(one, b"\x03\x04\x0d")
    made.finished(one)
    made.over(one, Closed())
    made.close()
    assert statements(tmp_path / "trace") == [
        "dial c1",
        "say NOOP",
        "hear 200 00001 004 ..",
        "hear|ab  |",
        "say READ x",
        "put \\x01\\x02",
        "ends crlf cr",
        "hear \\x03\\x04",
        "finish",
        "closed",
    ]


def test_several_at_once(tmp_path: Path) -> None:
    made = trace(tmp_path)
    one, two = made.begin(1), made.begin(2)
    made.said(one, b"A\r\n")
    made.said(two, b"B\r\n")
    made.over(one, Close())
    made.over(two, Reset())
    made.close()
    assert statements(tmp_path / "trace") == [
        "dial c1",
        "dial c2 listener 2",
        "on c1",
        "say A",
        "on c2",
        "say B",
        "on c1",
        "close",
        "on c2",
        "reset",
    ]


def test_it_is_whole_up_to_its_last_line_at_any_time(tmp_path: Path) -> None:
    made = trace(tmp_path)
    one = made.begin(1)
    made.said(one, b"NOOP\r\nASK TI")
    read_script((tmp_path / "trace").read_text(), "x")
    assert statements(tmp_path / "trace")[-1] == "say NOOP"
    made.close()


def test_secrets_are_not_in_it(tmp_path: Path) -> None:
    made = trace(tmp_path, "open-s3same")
    one = made.begin(1)
    made.said(one, b"NAME club:open-s3same\r\n")
    made.heard(one, b"key open-s3same.\r\nopen-s3same\r\n")
    made.close()
    text = (tmp_path / "trace").read_text()
    assert "s3same" not in text
    assert statements(tmp_path / "trace")[1:] == ["say NAME club:***", "hear key {any}.", "hear {any}"]


@pytest.mark.parametrize("end", [b"", b"\x9b"])
def test_a_secret_before_no_line_end_is_taken_whole(end: bytes, tmp_path: Path) -> None:
    made = trace(tmp_path, "open-s3same")
    one = made.begin(1)
    made.heard(one, b"open-s3same" + end)
    made.said(one, b"NOOP\r\n")
    made.heard(one, b"key open-s3same, open-s3same" + end)
    made.over(one, Close())
    made.close()
    text = (tmp_path / "trace").read_text()
    assert "s3same" not in text
    takes = [each.step for each in read_script(text, "x").steps if isinstance(each.step, Take)]
    assert [takes[0].pattern.first_end(b"open-s3same" + end), len(takes)] == [11 + len(end), 2]
    assert takes[1].pattern.first_end(b"key open-s3same, open-s3same" + end) == 28 + len(end)


def test_only_its_owner_may_read_it_and_it_is_new(tmp_path: Path) -> None:
    trace(tmp_path).close()
    assert (tmp_path / "trace").stat().st_mode & 0o777 == 0o600
    with pytest.raises(FileExistsError):
        trace(tmp_path)


def test_a_full_disk_ends_the_sessions_under_way_and_nothing_else(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The line that does not fit is not there by half; what begins once there is room is kept."""
    made = Trace(tmp_path / "trace", Redactor())
    one, two = made.begin(1), made.begin(1)
    made.said(one, b"NOOP\r\n")
    whole = (tmp_path / "trace").read_bytes()
    with largest_file(len(whole) + 3):  # half of "on c2"
        made.said(two, b"NOOP 0123456789\r\n")
        made.said(one, b"NOOP\r\n")
        lost = made.begin(1)
        made.said(lost, b"NOOP\r\n")
        made.over(lost, Close())
    assert (tmp_path / "trace").read_bytes() == whole
    made.said(two, b"NOOP\r\n")
    last = made.begin(2)
    made.said(last, b"BYE\r\n")
    made.close()
    cut = [
        *("on c1", "# the rest of c1 is left out", "reset"),
        *("on c2", "# the rest of c2 is left out", "reset"),
    ]
    text = (tmp_path / "trace").read_bytes()
    assert text.removeprefix(whole).decode().splitlines() == [*cut, "dial c4 listener 2", "say BYE"]
    assert [record.message for record in caplog.records] == [
        f"the trace stops here: {os.strerror(27)}",
        "the trace goes on",
    ]


def test_limits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TRACE_LINE_BYTES", 4)
    monkeypatch.setattr(limits, "TRACE_SESSION_BYTES", 20)
    made = trace(tmp_path)
    one = made.begin(1)
    made.heard(one, b"abcdef")
    made.heard(one, b"gh\r\n")
    made.heard(one, b"0123456789abc")
    made.said(one, b"NOOP\r\n")
    made.finished(one)
    made.over(one, Close())
    made.close()
    assert (tmp_path / "trace").read_text().splitlines()[1:] == [
        "dial c1",
        "take abcdef",
        "hear gh",
        "# the rest of c1 is left out",
        "reset",
    ]


def test_nothing_is_written_after_its_end(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    made = trace(tmp_path)
    one = made.begin(1)
    made.close()
    made.said(one, b"NOOP\r\n")
    made.over(one, Close())
    made.begin(1)
    made.close()
    assert statements(tmp_path / "trace") == ["dial c1"]
    assert caplog.records == []


def test_a_trace_of_nothing_leaves_its_name_free(tmp_path: Path) -> None:
    made = trace(tmp_path)
    made.discard()
    made.discard()  # whoever moved or removed it meanwhile
    made.close()
    assert list(tmp_path.iterdir()) == []
    trace(tmp_path).close()


events = st.lists(
    st.tuples(st.booleans(), st.binary(min_size=1, max_size=6) | st.sampled_from([b"\r", b"\n", b"a\r\n"]))
)


@given(events)
def test_every_byte_is_in_it_in_order(events: list[tuple[bool, bytes]]) -> None:
    """Put together again, each way's bytes are what they were, and no answer comes before its request. What
    looks like a secret is left to the tests above.
    """
    for way in (True, False):
        text = b"".join(data for said, data in events if said is way).decode("latin-1")
        assume(Redactor().clean(text) == text)
    with tempfile.TemporaryDirectory() as folder:
        made = trace(Path(folder))
        one = made.begin(1)
        for said, data in events:
            (made.said if said else made.heard)(one, data)
        made.over(one, Close())
        made.close()
        script = read_script((Path(folder) / "trace").read_text(), "x")
    ends = Ends()
    told = ""
    for placed in script.steps:
        match placed.step:
            case Ends():
                ends = placed.step
            case Say(data):
                told += _marked(True, data + ends.said)
            case Put(data):
                told += _marked(True, data)
            case Hear(pattern):
                told += _marked(
                    False, b"".join(p.data for p in pattern.parts if isinstance(p, Literal)) + ends.heard
                )
            case Take(pattern):
                told += _marked(False, _data(pattern))
    assert told == "".join(_marked(said, data) for said, data in events)


def _data(pattern: Pattern) -> bytes:
    return b"".join(part.data for part in pattern.parts if isinstance(part, Literal))


def _marked(said: bool, data: bytes) -> str:
    return "".join(f"{'>' if said else '<'}{byte:02x}" for byte in data)


def test_names_of_statements_are_plain(tmp_path: Path) -> None:
    made = trace(tmp_path)
    made.heard(made.begin(1), bytes(range(256)) + b"\r\n")
    made.close()
    assert re.fullmatch(r"[\x20-\x7e\n]*", (tmp_path / "trace").read_text())
