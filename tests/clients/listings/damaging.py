"""A line between client and gateway that garbles chosen lines, each once: one bit of their fourth byte.

A thread for each way, since the clients are processes that the tests wait for.
"""

import socket
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

_PLACE = 3  # the byte that is garbled: of a status line, the blank after the code
_BIT = 0x01


@dataclass
class Damage:
    """Where to dial; `up` and `down` are beginnings of lines that are still to be garbled.

    `in_turn`: each of them only once all before it in its list were.
    """

    port: int
    up: list[bytes]
    down: list[bytes]
    in_turn: bool = False
    struck: list[bytes] = field(default_factory=list)
    requests: list[bytes] = field(default_factory=list)  # as the client sent them

    def strike(self, line: bytes, beginnings: list[bytes]) -> bytes:
        """The line, garbled if one of the beginnings is its."""
        for each in beginnings[:1] if self.in_turn else beginnings:
            if line.upper().startswith(each.upper()):
                beginnings.remove(each)
                self.struck.append(each)
                return line[:_PLACE] + bytes([line[_PLACE] ^ _BIT]) + line[_PLACE + 1 :]
        return line


def _carry(come: socket.socket, go: socket.socket, damage: Damage, beginnings: list[bytes], up: bool) -> None:
    """Whole lines only, ended by CR or LF; an LF after a CR is an empty line that goes through too."""
    rest = b""
    with suppress(OSError):
        while received := come.recv(4096):
            rest += received
            while ends := [place for place in (rest.find(b"\r"), rest.find(b"\n")) if place >= 0]:
                line, rest = rest[: min(ends) + 1], rest[min(ends) + 1 :]
                if up:
                    damage.requests.append(line.strip())
                go.sendall(damage.strike(line, beginnings))
        go.shutdown(socket.SHUT_WR)


@contextmanager
def damaging(
    port: int, down: Sequence[bytes] = (), up: Sequence[bytes] = (), *, in_turn: bool = False
) -> Iterator[Damage]:
    """One connection to the gateway at `port`, garbled on its way down to the client and up from it."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        damage = Damage(door.getsockname()[1], list(up), list(down), in_turn)
        ends: list[socket.socket] = []

        def run() -> None:
            client, _ = door.accept()
            gateway = socket.create_connection(("127.0.0.1", port))
            ends.extend((client, gateway))
            upward = threading.Thread(target=_carry, args=(client, gateway, damage, damage.up, True))
            upward.start()
            _carry(gateway, client, damage, damage.down, False)
            upward.join()

        thread = threading.Thread(target=run)
        thread.start()
        try:
            yield damage
        finally:
            if not ends:  # nobody came
                socket.create_connection(door.getsockname()).close()
            thread.join(5)
            for each in ends:
                with suppress(OSError):  # wakes the threads that still read, where closing would not
                    each.shutdown(socket.SHUT_RDWR)
            thread.join()
            for each in ends:
                each.close()
