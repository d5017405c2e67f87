"""What every adapter keeps where it lists, looks and reads; a part of `file_contract`."""

import asyncio
from dataclasses import replace
from time import perf_counter

import pytest

from adapters.errors import (
    NotThere,
    TooLarge,
)
from adapters.files import Ability, Kind
from adapters.port import Call
from tests.adapters.file_stands import (
    SECONDS,
    FileStand,
    fails,
    found,
    lacks,
    where,
    whole,
)

BODIES = (b"", b"x", b"a\r\nb\rc\n\x00\x1a\xff", bytes(range(256)) * 1200, bytes(range(255)) * 4112)

AWKWARD = (
    b"plain",
    b"two words",
    b" leading",
    b"trailing ",
    b"100%",
    b"%41",
    b"%2e%2e",
    b"a#b",
    b"what?",
    b"a+b&c=d;e",
    b"semi;colon:colon",
    b'it\'s "quoted"',
    b"back\\slash",
    b"[brackets]*{}",
    b"-rf",
    b".hidden",
    b"~tilde",
    b"<tag>&amp;",
    "größe Ω".encode(),
    "gr\u0308o".encode(),  # a letter and a combining mark: nobody may normalise it
    b"latin-1 \xfc\xff",
    b"x" * 120,
)


class ReadingContract:
    """Needs the fixture `stand`."""

    # Listing

    async def test_an_empty_folder_is_not_a_missing_one(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST):
            return
        assert (await stand.adapter.list(stand.root, SECONDS)).entries == ()
        stand.make(b"empty")
        for target in (stand.at(b"empty"), replace(stand.root, url=stand.at(b"empty").url + "/")):
            assert (await stand.adapter.list(target, SECONDS)).entries == ()
        for name in (b"missing", b"missing/deeper", b"empty/missing"):
            await fails(stand, stand.adapter.list(stand.at(name), SECONDS), NotThere)

    async def test_a_listing_tells_kinds_sizes_and_times(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST):
            return
        stand.put(b"empty", b"")
        stand.put(b"five", b"12345")
        stand.make(b"folder")
        stand.put(b"folder/inner", b"x")
        entries = await found(stand)
        assert {name: each.kind for name, each in entries.items()} == {
            b"empty": Kind.FILE,
            b"five": Kind.FILE,
            b"folder": Kind.FOLDER,
        }
        sizes = (entries[b"empty"].size, entries[b"five"].size)
        assert sizes == (0, 5) or (not stand.sizes and set(sizes) <= {None, 0, 5})
        assert all(each.modified is None or each.modified.tzinfo is not None for each in entries.values())

    async def test_what_was_listed_can_be_read(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST, Ability.READ):
            return
        names = [name for name in AWKWARD if stand.takes(name)]
        assert b"plain" in names
        assert b"two words" in names
        for name in names:
            stand.put(name, b"of " + name)
        entries = await found(stand)
        assert set(entries) == set(names)
        for name, entry in entries.items():
            assert await whole(stand, where(stand, entry)) == b"of " + name

    async def test_what_was_listed_can_be_entered(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST):
            return
        for name in (each for each in AWKWARD if stand.takes(each)):
            stand.make(name)
            stand.put(name + b"/inside", b"x")
        for entry in (await found(stand)).values():
            assert entry.kind is Kind.FOLDER
            inner = await stand.adapter.list(where(stand, entry), SECONDS)
            assert [each.name for each in inner.entries] == [b"inside"]

    async def test_three_hundred_entries(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST):
            return
        names = {b"entry number %03d.txt" % number for number in range(300)}
        for name in names:
            stand.put(name, name)
        assert set(await found(stand)) == names

    # What one thing is

    async def test_stat(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.STAT):
            return
        stand.put(b"five", b"12345")
        stat = await stand.adapter.stat(stand.at(b"five"), SECONDS)
        assert stat.kind is Kind.FILE
        assert stat.size == 5 or (not stand.sizes and stat.size is None)
        assert stat.modified is None or stat.modified.tzinfo is not None
        assert stat.origin == stand.origin
        for name in (b"missing", b"missing/deeper"):
            await fails(stand, stand.adapter.stat(stand.at(name), SECONDS), NotThere)

    async def test_stat_of_a_folder(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.STAT, Ability.LIST):
            return
        stand.make(b"folder")
        for target in (
            stand.at(b"folder"),
            replace(stand.root, url=stand.at(b"folder").url + "/"),
            stand.root,
        ):
            assert (await stand.adapter.stat(target, SECONDS)).kind is Kind.FOLDER

    # Reading

    @pytest.mark.parametrize("body", BODIES, ids=len)
    async def test_bytes_come_through_whole(self, stand: FileStand, body: bytes) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"document", body)
        async with stand.adapter.read(stand.at(b"document"), 0, None, SECONDS) as reading:
            assert b"".join([chunk async for chunk in reading.chunks]) == body
            assert reading.offset == 0
            assert reading.size in {None, len(body)}
            assert reading.stat.kind is Kind.FILE
            assert all(0 < len(label) <= 8 and label.isascii() for label, _ in reading.steps)

    async def test_parts(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        body = bytes(range(251)) * 800
        stand.put(b"document", body)
        size = len(body)
        for offset in (0, 1, 65_536, size - 1, size, size + 1, 10 * size):
            for count in (0, 1, 100, 65_537, size, None):
                part = await whole(stand, stand.at(b"document"), offset, count)
                assert part == body[offset : None if count is None else offset + count], (offset, count)

    async def test_a_part_tells_where_it_begins(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"document", b"0123456789")
        async with stand.adapter.read(stand.at(b"document"), 4, 3, SECONDS) as reading:
            assert (reading.offset, reading.size in {None, 10}) == (4, True)
            assert b"".join([chunk async for chunk in reading.chunks]) == b"456"

    async def test_leaving_early_harms_nobody(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"long", bytes(4 << 20))
        stand.put(b"short", b"short")
        for _ in range(6):  # more than a pool of logins has
            began = perf_counter()
            async with stand.adapter.read(stand.at(b"long"), 0, None, SECONDS) as reading:
                async for chunk in reading.chunks:
                    assert chunk
                    break
            async with stand.adapter.read(stand.at(b"long"), 0, None, SECONDS):
                pass
            assert await whole(stand, stand.at(b"short")) == b"short"
            assert perf_counter() - began < SECONDS / 3

    async def test_a_cancelled_read_harms_nobody(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"long", bytes(4 << 20))
        stand.put(b"short", b"short")
        for pause in (0, 0.001, 0.01):
            reading = asyncio.create_task(whole(stand, stand.at(b"long")))
            await asyncio.sleep(pause)
            reading.cancel()
            await asyncio.wait({reading})
            assert await whole(stand, stand.at(b"short")) == b"short"

    async def test_two_hundred_at_once(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        bodies = [b"document %d" % number * 50 for number in range(200)]
        for number, body in enumerate(bodies):
            stand.put(b"d%d" % number, body)
        targets = [stand.at(b"d%d" % number) for number in range(200)]
        assert await asyncio.gather(*(whole(stand, target) for target in targets)) == bodies

    async def test_nothing_there_to_read(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        for name in (b"missing", b"missing/deeper"):
            await fails(stand, whole(stand, stand.at(name)), NotThere)
            await fails(stand, whole(stand, stand.at(name), 5, 5), NotThere)

    async def test_a_fetch_is_the_whole_document(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"list.json", b"0123456789")
        target = stand.at(b"list.json")
        call = Call(
            target.url,
            root=target.root,
            credentials=target.credentials,
            ca=target.ca,
            reach=target.reach,
            body_limit=10,
        )
        fetched = await stand.adapter.fetch(call, SECONDS)
        assert (fetched.body, fetched.media_type) == (b"0123456789", "application/json")
        await fails(stand, stand.adapter.fetch(replace(call, body_limit=9), SECONDS), TooLarge)
