"""Which dump a setting means (CONTRACT section 5 `bytes`)."""

import pytest

from gateway.extract.dumps import HexDump, IntelDump, LineDump, dump_for
from gateway.extract.fields.text import Lettering


@pytest.mark.parametrize(("mode", "kind"), [("hex", HexDump), ("ihex", IntelDump), ("line", LineDump)])
def test_a_mode_is_a_dump(mode: str, kind: type) -> None:
    assert isinstance(dump_for(mode, 40, 0, Lettering("ascii")), kind)


def test_an_offset_is_where_addresses_start() -> None:
    assert dump_for("ihex", 40, 256, Lettering("ascii")).feed(bytes(14))[0].text.startswith(":0E010000")


def test_raw_is_not_laid_out() -> None:
    with pytest.raises(ValueError, match="raw"):
        dump_for("raw", 40, 0, Lettering("ascii"))
