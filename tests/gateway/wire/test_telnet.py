"""Looking for a CAN among telnet's commands: RFC 854 (commands, IAC doubled) and RFC 855 (blocks).

That it finds exactly those that reading on gives is tested with the reader, in test_lines.py.
"""

import pytest

from gateway.wire.telnet import Telnet, has_cancel


@pytest.mark.parametrize(
    ("data", "state", "there"),
    [
        (b"\x18", Telnet.DATA, True),
        (b"", Telnet.DATA, False),
        (b"\xff\xfb\x18", Telnet.DATA, False),  # an option's number
        (b"\xff\xfb\x18\x18", Telnet.DATA, True),
        (b"\xff\xff\x18", Telnet.DATA, True),  # doubled, IAC is data
        (b"\xff\x18", Telnet.DATA, True),  # FFh is no command before it
        (b"\xff\xfa\x18\xff\xff\xf0\x18", Telnet.DATA, False),  # the block has not ended
        (b"\xff\xfa\x18\xff\xf0\x18", Telnet.DATA, True),
        (b"\x18\xff\xf0", Telnet.BLOCK, False),
        (b"\x18", Telnet.OPTION, False),
        (b"\xf0\x18", Telnet.BLOCK_COMMAND, True),
        (b"\xfd\x18", Telnet.COMMAND, False),
        (b"\xf1" + b"\xff\xf1" * 1_000 + b"\x18", Telnet.COMMAND, True),
    ],
)
def test_a_cancel_outside_commands(data: bytes, state: Telnet, there: bool) -> None:
    assert has_cancel(data, state) is there
    assert has_cancel(bytearray(data), state) is there
