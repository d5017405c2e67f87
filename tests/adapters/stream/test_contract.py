"""What adapters.streams promises, held by every scheme against a real far server on loopback."""

import asyncio
import random
from collections.abc import AsyncIterator, Iterator, Sequence

import pytest

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, NotAllowed, NotPossible, WrongWords
from adapters.port import Call, Reach
from adapters.registry import lookup
from adapters.stream.adapter import LineAdapter
from adapters.streams import Calling, Stream
from tests.adapters.stream.servers import HOST, LOOPBACK, FarServer, here, socat, telnetd, until, up_to

SCHEMES = ("tcp", "tls", "telnet", "udp")


@pytest.fixture(scope="module", params=SCHEMES)
def far(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FarServer]:
    folder = tmp_path_factory.mktemp("far")
    with telnetd(folder) if request.param == "telnet" else socat(request.param, folder) as server:
        yield server


@pytest.fixture
async def line(far: FarServer) -> AsyncIterator[Stream]:
    """Open, the greeting heard."""
    adapter = LineAdapter(resolve=here)
    stream = await adapter.open(far.calling(), 10)
    async with asyncio.timeout(20):
        await up_to(stream.receive, far.greeting)
        yield stream
    stream.abort()
    await adapter.aclose()


async def test_the_registry_has_it(far: FarServer) -> None:
    adapter = lookup(far.scheme)()
    assert isinstance(adapter, LineAdapter)
    with pytest.raises(NotPossible, match="A stream; TALK opens it"):
        await adapter.fetch(Call(f"{far.scheme}://{HOST}:7"), 1)
    await adapter.aclose()


async def test_what_is_sent_comes_back(line: Stream, far: FarServer) -> None:
    assert line.origin == f"{far.scheme}://{HOST}:{far.port}"
    assert line.datagrams is (far.scheme == "udp")
    for text in (b"hello", b"caf\xe9 \xff\xff\xf4", b"\0" * 3, bytes(range(256)).replace(b"\r\n", b"")):
        await line.send(text)
        assert await until(line.receive, len(text)) == text


async def test_a_megabyte_each_way_at_once(line: Stream, far: FarServer) -> None:
    data = random.Random(far.scheme).randbytes(1 << 20).replace(b"\r", b"!")
    size = 1_000 if line.datagrams else len(data)
    pieces = [data[start : start + size] for start in range(0, len(data), size)]
    if line.datagrams:  # one by one: a datagram may be lost
        for piece in pieces:
            await line.send(piece)
            assert await line.receive() == piece
        return
    back, _ = await asyncio.gather(until(line.receive, len(data)), line.send(data))
    assert back == data


async def test_a_piece_is_no_longer_than_promised(line: Stream) -> None:
    if line.datagrams:
        await line.send(b"x" * 8_192)
        assert len(await line.receive() or b"") == 8_192
        return
    await line.send(b"x" * 500_000)
    got = 0
    while got < 500_000:
        piece = await line.receive()
        assert piece
        assert len(piece) <= limits.CHUNK_BYTES
        got += len(piece)


async def test_a_receive_that_is_cancelled_loses_nothing(line: Stream) -> None:
    got = b""
    for _ in range(30):
        await line.send(b"0123456789")
        for patience in (0, 0.0001, 0.001):
            try:
                async with asyncio.timeout(patience):
                    got += await line.receive() or b""
            except TimeoutError:
                continue
    async with asyncio.timeout(5):
        while len(got) < 300:
            got += await line.receive() or b""
    assert got == b"0123456789" * 30


async def test_hanging_up_is_quick_and_final(line: Stream) -> None:
    await line.send(b"last words")
    loop = asyncio.get_running_loop()
    began = loop.time()
    await line.aclose()
    assert loop.time() - began < limits.STREAM_CLOSE_SECONDS - 1
    for _ in range(2):
        line.abort()
        await line.aclose()
    with pytest.raises(BrokenOff):
        await line.send(b"x")
    with pytest.raises(BrokenOff):
        await line.receive()


async def test_who_waits_is_told_that_it_was_hung_up(line: Stream) -> None:
    waiting = asyncio.create_task(line.receive())
    await asyncio.sleep(0.05)
    line.abort()
    with pytest.raises(BrokenOff):
        await waiting


@pytest.mark.parametrize("addresses", [[LOOPBACK], ["8.8.8.8", "10.0.0.1"], ["::1"], ["169.254.169.254"]])
async def test_an_address_that_is_not_allowed(far: FarServer, addresses: list[str]) -> None:
    """CONTRACT section 4. One refused address refuses all, so that none of these is sent to."""

    async def resolve(host: str, port: int) -> Sequence[str]:
        return addresses

    with pytest.raises(NotAllowed) as caught:
        await LineAdapter(resolve=resolve).open(far.calling(reach=Reach()), 5)
    assert caught.value.far == f"{far.scheme}://{HOST}:{far.port}"


async def test_a_host_that_allow_lists(far: FarServer) -> None:
    stream = await LineAdapter(resolve=here).open(far.calling(reach=Reach(allow=("127.0.0.0/8",))), 10)
    await stream.send(b"x")
    assert await stream.receive()
    stream.abort()


async def test_no_such_host(far: FarServer) -> None:
    async def resolve(host: str, port: int) -> Sequence[str]:
        raise CannotConnect("No such host")

    with pytest.raises(CannotConnect, match="No such host"):
        await LineAdapter(resolve=resolve).open(far.calling(), 5)


async def test_no_url_of_a_stream(far: FarServer) -> None:
    with pytest.raises(WrongWords):
        await LineAdapter(resolve=here).open(Calling(f"{far.scheme}://{HOST}:7/path"), 5)
