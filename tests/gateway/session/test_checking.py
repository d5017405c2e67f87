"""Checks both ways, as a client on a noisy line has them (CONTRACT section 5, `check`)."""

import pytest

from adapters import limits
from gateway.wire.checks import digits
from tests.gateway.session.conftest import Talk
from tests.gateway.session.files.far import CLUB, Far, FarTalk, far_talk

END = b"\r\n"


def checked(line: bytes, kind: str = "crc", charset: str = "ascii") -> bytes:
    return line + f" *{digits(line, kind)}".encode(charset)


def lines(answer: bytes, kind: str = "crc") -> list[bytes]:
    """The lines of an answer, each proven by its check."""
    width = {"sum": 2, "crc": 4}[kind]
    found = []
    for line in answer.split(END)[:-1]:
        assert line[-width:].decode() == digits(line[:-width], kind)
        found.append(line[:-width])
    return found


@pytest.fixture
def noisy(talk: Talk) -> Talk:
    assert lines(talk.raw(b"SET check=crc\r")) == [b"200 00000 000 .."]
    return talk


@pytest.mark.parametrize(("kind", "width"), [("sum", b"020"), ("crc", b"022")])
def test_every_line_ends_in_its_check_and_the_width_counts_it(talk: Talk, kind: str, width: bytes) -> None:
    talk.raw(f"SET check={kind}\r".encode())
    answer = talk.raw(b"ASK tides\r")
    assert lines(answer, kind)[0] == b"200 00003 " + width + b" .*"
    assert lines(answer, kind)[1] == b"04:12 Quay    3.90"
    assert len(answer.split(END)[1]) == int(width)


def test_the_check_is_of_what_is_sent(talk: Talk) -> None:
    """After mark, guard and capitals; of a text of `cols` columns none gives way."""
    talk.raw(b"SET check=sum mark=on guard=on case=upper\r")
    assert lines(talk.raw(b"ASK tides\r"), "sum")[2] == b"!10.27 MOLE. A 1;25"
    status, record = lines(talk.raw(b"PING\r"), "sum")
    assert status == b"500 00001 042 .."
    assert len(record) == 40


def test_the_longest_record_counts_mark_and_check(talk: Talk) -> None:
    assert talk.status("ASK wide").startswith("200")  # 255 wide by its plan
    answer = talk.raw(b"SET check=sum\rASK wide\r")
    assert lines(answer, "sum")[1] == b"552 00001 042 .."
    assert lines(talk.raw(b"SET most=41\r"), "sum")[0] == b"501 00001 042 .."


def test_sources_tells_widths_with_the_check(noisy: Talk) -> None:
    records = lines(noisy.raw(b"SOURCES\r"))[1:]
    assert {record[:12].rstrip(): record[13:16] for record in records}[b"TIDES"] == b" 22"


def test_a_checked_request_runs(noisy: Talk) -> None:
    assert lines(noisy.raw(checked(b"NOOP one") + b"\r"))[1].rstrip() == b"one"


def test_a_request_may_do_without_until_the_first_check(noisy: Talk) -> None:
    assert lines(noisy.raw(b"NOOP\r"))[0].startswith(b"200")
    assert lines(noisy.raw(checked(b"NOOP") + b"\r"))[0].startswith(b"200")
    for line in (b"NOOP", b"NOOP *12", b"BYE", checked(b"BYE", "sum")):
        assert lines(noisy.raw(line + b"\r"))[0].startswith(b"500")
    assert not noisy.session.closing
    assert noisy.raw(b"\r \r") == b""  # empty lines need none


def test_a_wrong_check_is_500_and_nothing_runs(noisy: Talk) -> None:
    for _ in range(2):  # the first checked request is not begun by a wrong one
        assert lines(noisy.raw(b"ASK tides *0000\r"))[0].startswith(b"500")
    assert noisy.wishes == []
    assert lines(noisy.raw(b"NOOP\r"))[0].startswith(b"200")


def test_a_wrong_check_keeps_the_page(noisy: Talk) -> None:
    whole = noisy.raw(checked(b"ASK tides") + b"\r")
    noisy.raw(b"ASK tides *0000\r")
    assert noisy.raw(checked(b"AGAIN") + b"\r") == whole


def test_other_checks_begin_anew(noisy: Talk) -> None:
    noisy.raw(checked(b"NOOP") + b"\r")
    assert noisy.raw(checked(b"SET check=none") + b"\r") == b"200 00000 000 ..\r\n"
    assert noisy.status("NOOP") == "200 00000 000 .."
    noisy.raw(b"SET check=crc\r")
    assert lines(noisy.raw(b"NOOP\r"))[0].startswith(b"200")


def test_without_the_setting_a_star_is_a_word(talk: Talk) -> None:
    assert talk.status("NOOP *31C3") == "200 00001 040 .."


def test_windows_and_checks_together(noisy: Talk) -> None:
    noisy.raw(checked(b"SET window=2") + b"\r")
    first = lines(noisy.raw(checked(b"ASK tides") + b"\r"))
    assert len(first) == 2
    assert lines(noisy.raw(b"AGAIN 2\r"))[0].startswith(b"500")  # whole, and acknowledges nothing
    assert lines(noisy.raw(checked(b"AGAIN 2") + b"\r"))[0] == b"200 00002 022 .*"


class TestTransfers:
    """Data lines of a client that checks are checked too, and what was garbled is never kept."""

    def begin(self, talk: Talk) -> None:
        assert lines(talk.raw(checked(b"TELL guest") + b"\r"))[0].startswith(b"350")

    def test_the_check_is_not_part_of_the_data(self, noisy: Talk) -> None:
        self.begin(noisy)
        assert noisy.raw(checked(b">Hello *12") + b"\r" + checked(b">") + b"\r") == b""
        assert lines(noisy.raw(checked(b".") + b"\r"))[0].startswith(b"200")
        assert noisy.wishes[-1].lines == "Hello *12\n\n"  # type: ignore[union-attr]

    @pytest.mark.parametrize("line", [b">Hello", b">Hello *0000"])
    def test_a_garbled_data_line_is_told_after_the_end(self, noisy: Talk, line: bytes) -> None:
        self.begin(noisy)
        assert noisy.raw(line + b"\r") == b""
        status, sentence = lines(noisy.raw(checked(b".") + b"\r"))
        assert status.startswith(b"500")
        assert sentence.rstrip() == b"A line came garbled; send it all again"  # 40 columns do not cut it
        assert noisy.wishes == []
        assert lines(noisy.raw(checked(b"NOOP") + b"\r"))[0].startswith(b"200")

    @pytest.mark.parametrize("line", [b"Hello", b".", b". *0000", b"~Hello *0000", b"x" * 300])
    def test_what_may_have_been_a_data_line_is_told_at_once_and_at_the_end(
        self, noisy: Talk, line: bytes
    ) -> None:
        self.begin(noisy)
        assert lines(noisy.raw(line + b"\r"))[0].startswith(b"500")
        status, sentence = lines(noisy.raw(checked(b".") + b"\r"))
        assert status.startswith(b"500")
        assert sentence.rstrip().endswith(b"send it all again")
        assert noisy.wishes == []

    def test_another_request_ends_it(self, noisy: Talk) -> None:
        self.begin(noisy)
        assert lines(noisy.raw(checked(b"NOOP") + b"\r"))[0].startswith(b"503")

    def test_without_checked_requests_data_lines_are_as_they_are(self, noisy: Talk) -> None:
        assert lines(noisy.raw(b"TELL guest\r>Hello *0000\r.\r"))[1].startswith(b"200")
        assert noisy.wishes[-1].lines == "Hello *0000\n"  # type: ignore[union-attr]


class TestLongDataLines:
    """A data line has no length limit (CONTRACT section 3), checked or not: it is checked as it comes."""

    def begin(self, kind: str = "crc", charset: str = "ascii") -> FarTalk:
        talk = far_talk(Far({CLUB + "a.txt": b"old"}))
        talk.raw(f"SET check={kind} charset={charset}\r".encode())
        begun = talk.raw(checked("STORE club:a.txt".encode(charset), kind, charset) + b"\r")
        assert begun[:3].decode(charset) == "350"
        return talk

    @pytest.mark.parametrize("kind", ["sum", "crc"])
    @pytest.mark.parametrize(
        "size",
        [limits.PIECE_BYTES - 8, limits.PIECE_BYTES + limits.LINE_BYTES, 70_000, limits.DATA_BYTES + 9],
    )
    def test_its_check_is_of_the_whole_line(self, kind: str, size: int) -> None:
        text = (b"north south " * (size // 12 + 1))[:size]
        for prompt, counted in ((b"", b""), (b"? ", b""), (b"? ", b"? ")):
            talk = self.begin(kind)
            check = digits(counted + b">" + text, kind).encode()
            assert (
                talk.raw(prompt + b">" + text + b" *" + check + b"\r" + checked(b">end", kind) + b"\r") == b""
            )
            assert lines(talk.raw(checked(b".", kind) + b"\r"), kind)[0].startswith(b"250")
            assert talk.url("a.txt") == text + b"\nend\n"

    def test_it_is_of_what_was_sent_in_the_clients_charset(self) -> None:
        talk = self.begin(charset="cp500")
        text = "Straße " * 2_000
        talk.raw(checked((">" + text).encode("cp500"), charset="cp500") + b"\r")
        assert talk.raw(checked(".".encode("cp500"), charset="cp500") + b"\r")[:3].decode("cp500") == "250"
        assert talk.url("a.txt") == text.encode() + b"\n"

    @pytest.mark.parametrize("at", [1, limits.PIECE_BYTES, 8_999])
    def test_one_character_that_is_wrong_spoils_it(self, at: int) -> None:
        talk = self.begin()
        line = bytearray(checked(b">" + b"a" * 9_000))
        line[at] ^= 4
        assert talk.raw(bytes(line) + b"\r") == b""
        assert lines(talk.raw(checked(b".") + b"\r"))[0].startswith(b"500")
        assert talk.url("a.txt") == b"old"

    def test_one_that_was_left_off_is_not_counted_to_the_next(self) -> None:
        talk = self.begin()
        talk.raw(b">" + b"a" * 9_000 + b"\x18")  # CAN: the transfer is over
        talk.raw(checked(b"STORE club:a.txt") + b"\r" + checked(b">" + b"b" * 9_000) + b"\r")
        assert lines(talk.raw(checked(b".") + b"\r"))[0].startswith(b"250")
        assert talk.url("a.txt") == b"b" * 9_000 + b"\n"

    def test_one_that_was_rubbed_out_too_far_is_told_at_the_end(self) -> None:
        """What was handed on cannot be taken back."""
        talk = self.begin()
        talk.raw(b">" + b"a" * 9_000 + b"\b" * 9_000 + b"\r")
        assert lines(talk.raw(checked(b".") + b"\r"))[0].startswith(b"552")
        assert talk.url("a.txt") == b"old"

    def test_nothing_of_it_is_kept(self) -> None:
        """A line of any length needs the room of a piece of it."""
        talk = self.begin()
        talk.raw(b">" + b"a" * (3 * limits.STAGE_BYTES))
        assert sum(talk.far.trays[0].sizes) >= 2 * limits.STAGE_BYTES
