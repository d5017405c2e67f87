"""document + Plan -> the sheet and its reply, as all that is extracted: of one width, printable."""

import re
from typing import Final

from adapters import limits
from adapters.errors import PathFault, TooLarge, WrongDocument
from gateway.extract.pipeline import extract
from gateway.extract.plan import Plan, Style
from gateway.wire.replies import Reply, encode_lines
from gateway.wire.settings import Settings

_CHARSETS: Final = ("ascii", "latin1", "koi8-r", "cp437")
_PRINTABLE: Final = re.compile(rb"[ -~]*")


def check_laid_out(body: bytes, media_type: str, label: str | None, plan: Plan, choice: int) -> None:
    """Extract, and check each record and each line that a client would get; `choice` picks its settings."""
    settings = Settings(
        charset=_CHARSETS[choice % 4], mark=choice & 4 == 4, check="crc" if choice & 8 else "none"
    )
    style = Style(settings.printed, "Europe/Berlin" if choice & 4 else "UTC")
    try:
        sheet = extract(body, media_type, label, plan, style)
    except (WrongDocument, TooLarge, PathFault) as error:
        assert error.sentence.isascii()
        assert error.sentence.isprintable()
        return
    assert sheet.width == plan.width
    assert len(sheet.records) <= limits.ROWS
    for record in sheet.records:
        assert len(record.text) == plan.width
        assert record.text.isprintable()
        assert settings.charset != "ascii" or record.text.isascii()
    reply = Reply(200, settings, [each.text for each in sheet.records[:50]], plan.width)
    status, *lines = encode_lines(reply, b"\r\n", escape_iac=False)
    assert len(status) == 18 + settings.added - settings.mark
    for line in lines:
        assert line.endswith(b"\r\n")
        assert len(line) == plan.width + settings.added + 2
        assert settings.charset != "ascii" or _PRINTABLE.fullmatch(line[:-2])
        assert not any(byte < 0x20 or byte == 0x7F for byte in line[:-2])
