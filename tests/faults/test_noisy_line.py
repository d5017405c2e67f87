"""A noisy line, with check and window on: every record arrives, none wrong, none missing, none twice."""

import asyncio
import itertools
import time
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.faults.careful import Careful, Counts, crc
from tests.faults.noise import Clean, Inserted, Noise, NoisyLine, Turned, Way
from tests.gateway.talking import running

CATALOGUE = """
[[listen]]
port = 0
profile = "noisy"

[profile.noisy]
check = "crc"
window = {window}

[place.sheets]
base = "{base}"

[source.rows]
url = "sheets:rows.csv"
format = "csv"

[[source.rows.field]]
name = "N"
at = "N"
kind = "int"
width = 5

[[source.rows.field]]
name = "TOWN"
at = "TOWN"
width = 9

[[source.rows.field]]
name = "LEVEL"
at = "LEVEL"
kind = "fixed"
width = 7
"""


@dataclass(frozen=True, slots=True)
class Seen:
    """What became of one fetch."""

    records: list[bytes]
    counts: Counts
    errors: tuple[int, int]  # bits turned over on the way up, and down
    bytes: tuple[int, int]
    seconds: float


def rows(count: int) -> list[tuple[int, str, str]]:
    """Invented rows; neighbours are as alike as can be, and each is there twice as TOWN and LEVEL."""
    towns = ("Quay", "Mole", "Lock 8", "Weir")
    return [(n, towns[n // 2 % 4], f"{n // 2 % 100}.{n // 2 % 7}5") for n in range(1, count + 1)]


def expected(count: int) -> list[bytes]:
    return [f"{n:5} {town:9} {level:>7}".encode() for n, town, level in rows(count)]


async def fetch(
    folder: Path, count: int, rate: float, seed: int, window: int = 8, quiet: float = 0.02
) -> Seen:
    up, down = Noise(rate, f"{seed} up"), Noise(rate, f"{seed} down")
    async with served(folder, count, window) as port:
        started = time.perf_counter()
        records, counts = await over(port, up, down, window, quiet)
    errors, through = (up.errors, down.errors), (up.bytes, down.bytes)
    return Seen(records, counts, errors, through, time.perf_counter() - started)


@asynccontextmanager
async def served(folder: Path, count: int, window: int) -> AsyncIterator[int]:
    """A gateway for so many rows; its port."""
    lines = "".join(f"{n},{town},{level}\n" for n, town, level in rows(count))
    (folder / "rows.csv").write_text("N,TOWN,LEVEL\n" + lines, encoding="ascii")
    async with running(CATALOGUE.format(base=folder.as_uri() + "/", window=window), folder) as bound:
        yield bound.port


async def over(port: int, up: Way, down: Way, window: int, quiet: float) -> tuple[list[bytes], Counts]:
    """What a careful client gets over such a line, and what it went through."""
    async with NoisyLine(port, up, down) as line:
        reader, writer = await asyncio.open_connection("127.0.0.1", line.port)
        client = Careful(reader, writer, window, quiet)
        records = await asyncio.wait_for(client.fetch(b"ROWS"), 300)
        writer.close()
        return records, client.counts


async def test_ten_thousand_records_at_one_bit_in_ten_thousand(tmp_path: Path) -> None:
    seen = await fetch(tmp_path, 10_000, 1e-4, seed=4)
    assert seen.records == expected(10_000)
    assert sum(seen.errors) > 150
    assert seen.counts.rejected > 100
    assert seen.counts.again > 100


@pytest.mark.parametrize("seed", range(3))
async def test_one_bit_in_a_thousand(seed: int, tmp_path: Path) -> None:
    """Requests are hit, too: acknowledgements, checks, line ends."""
    seen = await fetch(tmp_path, 300, 1e-3, seed, window=3)
    assert seen.records == expected(300)
    assert seen.counts.again > 20


async def _all_right(folder: Path, ways: Sequence[tuple[Way, Way]], quiet: float = 0.1) -> int:
    """Every record in each of these lines; how often something was asked for again."""
    again = 0
    async with served(folder, 7, 3) as port:
        for start in range(0, len(ways), 50):
            several = [over(port, up, down, 3, quiet) for up, down in ways[start : start + 50]]
            for number, (records, counts) in enumerate(await asyncio.gather(*several), start):
                assert records == expected(7), number
                again += counts.again
    return again


async def _dialogue(folder: Path) -> tuple[int, int]:
    """How many bytes go up and down where nothing happens to them."""
    up, down = Clean(), Clean()
    async with served(folder, 7, 3) as port:
        assert await over(port, up, down, 3, 0.5) == (expected(7), Counts())
    return up.bytes, down.bytes


async def test_any_one_bit_of_what_the_client_sends(tmp_path: Path) -> None:
    """A blank turned into LF's neighbour, an 8 into CAN, an M into CR, a * into LF: all of them."""
    sent, _ = await _dialogue(tmp_path)
    assert await _all_right(tmp_path, [(Turned(bit), Clean()) for bit in range(sent * 8)]) > 0


async def test_any_one_bit_of_an_again(tmp_path: Path) -> None:
    """One record arrives broken, and the AGAIN for it is hit, too. Nothing else may be asked for again, or
    another record is the broken one: the client is patient.
    """
    patience = 0.5
    sent, got = await _dialogue(tmp_path)
    broken = (got - 60) * 8
    up = Clean()
    async with served(tmp_path, 7, 3) as port:
        _, counts = await over(port, up, Turned(broken), 3, patience)
    assert counts.again == 1
    ways: list[tuple[Way, Way]] = [
        (Turned(bit), Turned(broken)) for bit in range((sent - 4) * 8, up.bytes * 8)
    ]
    assert await _all_right(tmp_path, ways, patience) > len(ways)


async def test_any_one_bit_of_what_it_gets(tmp_path: Path) -> None:
    _, got = await _dialogue(tmp_path)
    ways: list[tuple[Way, Way]] = [(Clean(), Turned(bit)) for bit in range(0, got * 8, 5)]
    assert await _all_right(tmp_path, ways) > 50


async def test_any_byte_too_many(tmp_path: Path) -> None:
    """Before an acknowledgement, and in the middle of a request."""
    sent, _ = await _dialogue(tmp_path)
    places = (0, 5, sent - 3, sent - 2, sent - 1)
    ways: list[tuple[Way, Way]] = [
        (Inserted(place, byte), Clean()) for place in places for byte in (*range(32), *range(32, 256, 7), 255)
    ]
    await _all_right(tmp_path, ways)


async def test_a_line_without_noise_asks_for_nothing_again(tmp_path: Path) -> None:
    seen = await fetch(tmp_path, 1_000, 0.0, seed=0, quiet=0.5)
    assert seen.records == expected(1_000)
    assert (seen.errors, seen.counts) == ((0, 0), Counts())


def test_the_clients_crc() -> None:
    """The check value of CRC-16/XMODEM."""
    assert crc(b"123456789") == 0x31C3


@given(st.binary(max_size=300), st.lists(st.integers(0, 300), max_size=5))
def test_noise_is_the_same_however_the_bytes_are_cut(data: bytes, cuts: list[int]) -> None:
    whole, pieces = Noise(0.02, "a"), Noise(0.02, "a")
    edges = sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
    parts = [pieces.through(data[start:end]) for start, end in itertools.pairwise(edges)]
    assert b"".join(parts) == whole.through(data)


def test_noise_has_its_rate() -> None:
    """Within four standard deviations of a binomial distribution."""
    noise, bits = Noise(1e-3, "b"), 8 * 200_000
    changed = noise.through(bytes(200_000))
    assert noise.errors == sum(byte.bit_count() for byte in changed)
    assert abs(noise.errors - bits * 1e-3) < 4 * (bits * 1e-3) ** 0.5
    assert len({index % 8 for index, byte in enumerate(changed) if byte}) == 8
