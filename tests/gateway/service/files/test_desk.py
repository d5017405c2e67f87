"""File wishes granted: listed, read in parts, shown as text, changed; and 502 for what cannot be done."""

import asyncio
import time
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    MayBeDone,
    NotPossible,
    NotThere,
    TooLarge,
    WrongDocument,
    WrongMoment,
    WrongWords,
)
from adapters.files import Ability, Kind, Listing, Stat, Target
from adapters.port import Validators
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.reading import load_catalogue
from gateway.extract.plan import Style
from gateway.service.files.copying import same_document
from gateway.session.wishes import (
    Act,
    ActWish,
    DataWish,
    DeliverWish,
    Done,
    Listed,
    ListWish,
    Part,
    ReadWish,
    Staged,
    StageWish,
    Texted,
    TextWish,
    Wish,
)
from tests.gateway.service.files.memory import ALL, MemoryFiles
from tests.gateway.service.files.stand import LEDGER, QUAY, TEXT, Stand

BODY = bytes(range(256)) * 10


@pytest.fixture
def stand(tmp_path: Path) -> Stand:
    stand = Stand(tmp_path)
    stand.quay.documents = {QUAY + "font.bin": BODY, QUAY + "notes.txt": b"High water\nat noon\n"}
    return stand


async def test_a_folder(stand: Stand) -> None:
    listed = await stand.desk.answer(ListWish(stand.ref("quay:")), 5)
    assert isinstance(listed, Listed)
    assert [each.name for each in listed.listing.entries] == [b"font.bin", b"notes.txt"]
    assert listed.folder == stand.ref("quay:")
    assert listed.provenance.origin == "memory://far"


async def test_parts_of_a_document_put_together_are_the_document(stand: Stand) -> None:
    ref, data, same, last = stand.ref("quay:font.bin"), b"", None, False
    while not last:
        part = await stand.desk.answer(ReadWish(ref, len(data), 1000, same), 5)
        assert isinstance(part, Part)
        data, same, last = data + part.data, part.stat, part.last
        assert part.size == len(BODY)
    assert data == BODY


@pytest.mark.parametrize("count", [len(BODY) - 1, len(BODY), len(BODY) + 1])
async def test_the_last_part_knows_that_it_is(stand: Stand, count: int) -> None:
    part = await stand.desk.answer(ReadWish(stand.ref("quay:font.bin"), 0, count), 5)
    assert isinstance(part, Part)
    assert part.data == BODY[:count]
    assert part.last == (count >= len(BODY))


async def test_past_the_end_is_nothing(stand: Stand) -> None:
    part = await stand.desk.answer(ReadWish(stand.ref("quay:font.bin"), len(BODY), 10), 5)
    assert isinstance(part, Part)
    assert (part.data, part.last) == (b"", True)


async def test_a_document_that_changed_between_two_parts(stand: Stand) -> None:
    ref = stand.ref("quay:font.bin")
    part = await stand.desk.answer(ReadWish(ref, 0, 10), 5)
    assert isinstance(part, Part)
    stand.quay.documents[ref.url] = BODY[::-1]
    with pytest.raises(ChangedMeanwhile):
        await stand.desk.answer(ReadWish(ref, 10, 10, part.stat), 5)


def test_one_document_is_known_by_its_validator_else_by_size_and_date() -> None:
    first = Stat(Kind.FILE, 5, validators=Validators('"a"'))
    assert same_document(first, Stat(Kind.FILE, 6, validators=Validators('"a"')))
    assert not same_document(first, Stat(Kind.FILE, 5, validators=Validators('"b"')))
    assert same_document(Stat(Kind.FILE, 5), Stat(Kind.FILE))
    assert not same_document(Stat(Kind.FILE, 5), Stat(Kind.FILE, 6))
    dated = Validators(None, "Tue, 03 Nov 2026 10:00:00 GMT")
    assert not same_document(
        Stat(Kind.FILE, validators=dated), Stat(Kind.FILE, validators=Validators(None, "x"))
    )


async def test_text(stand: Stand) -> None:
    texted = await stand.desk.answer(TextWish(stand.ref("quay:notes.txt"), 20, False, Style()), 5)
    assert isinstance(texted, Texted)
    assert [each.text for each in texted.lines] == ["High water".ljust(20), "at noon".ljust(20)]


async def test_links_of_a_page_are_refs_of_its_place(stand: Stand) -> None:
    page = b'<p><a href="b.txt">one</a> <a href="http://elsewhere.example/">two</a></p>'
    stand.ledger.documents[LEDGER + "a/index.html"] = page
    texted = await stand.desk.answer(TextWish(stand.ref("ledger:a/index.html"), 40, False, Style()), 5)
    assert isinstance(texted, Texted)
    assert texted.links == ("LEDGER:a/b.txt", "http://elsewhere.example/")


async def test_a_text_that_is_too_large(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TEXT_BYTES", 10)
    with pytest.raises(TooLarge):
        await stand.desk.answer(TextWish(stand.ref("quay:notes.txt"), 40, False, Style()), 5)


async def test_bytes_are_no_text(stand: Stand) -> None:
    with pytest.raises(WrongDocument):
        await stand.desk.answer(TextWish(stand.ref("quay:font.bin"), 40, False, Style()), 5)


async def act(stand: Stand, what: Act, ref: str, to: str | None = None, seconds: float = 5) -> Done:
    wish = ActWish(what, stand.ref(ref), None if to is None else stand.ref(to))
    done = await stand.desk.answer(wish, seconds)
    assert isinstance(done, Done)
    return done


async def test_copy_from_one_place_to_another(stand: Stand) -> None:
    done = await act(stand, Act.COPY, "quay:font.bin", "ledger:font.bin")
    assert done.code == 250
    assert stand.ledger.documents == {LEDGER + "font.bin": BODY}
    told = dict(done.progress())
    assert told["BYTES"] == f"{len(BODY)} of {len(BODY)}"
    assert told["CHECKED"] == "by its size"
    assert (told["FROM"], told["TO"]) == ("ftp://quay.example", "davs://ledger.example")
    assert stand.kept == []


async def test_a_copy_that_fails_leaves_nothing_in_the_spool(stand: Stand) -> None:
    with pytest.raises(NotThere):
        await act(stand, Act.COPY, "quay:no.bin", "ledger:font.bin")
    assert stand.ledger.documents == {}
    assert stand.kept == []


async def test_a_long_copy_goes_on_and_is_noted_meanwhile(stand: Stand) -> None:
    stand.quay.hold = asyncio.Event()
    done = await act(stand, Act.COPY, "quay:font.bin", "ledger:font.bin", seconds=0.05)
    assert done.code == 150
    assert [each[:2] for each in stand.kept] == [("copy", "LEDGER:font.bin")]
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
    assert stand.ledger.documents == {LEDGER + "font.bin": BODY}
    assert stand.kept == []


async def test_a_copy_that_waits_for_its_turn_is_noted_too(stand: Stand) -> None:
    """Its client was told 150: a gateway that is killed now leaves the note of it."""
    stand.quay.hold = asyncio.Event()
    for name in ("font.bin", "other.bin"):
        done = await act(stand, Act.COPY, "quay:font.bin", f"ledger:{name}", seconds=0.05)
        assert done.code == 150
    noted = [("copy", f"LEDGER:{name}") for name in ("font.bin", "other.bin")]
    assert [each[:2] for each in stand.kept] == noted
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
    assert stand.ledger.documents == {LEDGER + name: BODY for name in ("font.bin", "other.bin")}
    assert stand.kept == []


async def test_a_copy_that_the_gateway_goes_down_in_leaves_a_trace(stand: Stand) -> None:
    stand.quay.hold = asyncio.Event()
    assert (await act(stand, Act.COPY, "quay:font.bin", "ledger:font.bin", seconds=0.05)).code == 150
    await stand.jobs.aclose(0.01)
    assert stand.kept == [("copy", "LEDGER:font.bin", "The gateway went down meanwhile")]


async def test_a_copy_that_fails_when_nobody_waits_leaves_a_trace(stand: Stand) -> None:
    stand.quay.hold = asyncio.Event()
    stand.ledger.faults["commit"] = NotPossible("Not today")
    done = await act(stand, Act.COPY, "quay:font.bin", "ledger:font.bin", seconds=0.05)
    assert done.code == 150
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
    assert dict(done.progress())["ERROR"] == "502 Not today"
    assert stand.kept == [("copy", "LEDGER:font.bin", "Not today")]


async def test_nothing_is_copied_onto_itself(stand: Stand) -> None:
    for same in ("quay:font.bin", "quay:%66ont.bin", "quay:./font.bin"):
        with pytest.raises(WrongMoment):
            await act(stand, Act.COPY, "quay:font.bin", same)


async def test_erase_rename_and_mkdir(stand: Stand) -> None:
    await act(stand, Act.RENAME, "quay:font.bin", "quay:old.bin")
    assert QUAY + "old.bin" in stand.quay.documents
    await act(stand, Act.RENAME, "quay:old.bin", "ledger:old.bin")
    assert stand.ledger.documents == {LEDGER + "old.bin": BODY}
    await act(stand, Act.ERASE, "ledger:old.bin")
    assert stand.ledger.documents == {}
    await act(stand, Act.MAKE_FOLDER, "ledger:new/")
    assert stand.ledger.calls[-1] == "make_folder"


@pytest.mark.parametrize("what", [Act.ERASE, Act.RENAME])
async def test_a_slash_at_the_end_means_a_folder(stand: Stand, what: Act) -> None:
    to = "quay:other" if what is Act.RENAME else None
    stand.quay.documents[QUAY + "font.bin/"] = b""  # what the server would take it for
    with pytest.raises(WrongDocument):
        await act(stand, what, "quay:font.bin/", to)
    assert stand.quay.documents[QUAY + "font.bin"] == BODY


@pytest.mark.parametrize(
    ("what", "refs"),
    [
        (Act.ERASE, ["web:a?b"]),
        (Act.MAKE_FOLDER, ["web:a?b"]),
        (Act.RENAME, ["web:a?b", "web:c"]),
        (Act.RENAME, ["web:c", "web:a?b"]),
        (Act.COPY, ["quay:font.bin", "web:a?b"]),
    ],
)
async def test_a_query_names_nothing_that_is_changed(stand: Stand, what: Act, refs: list[str]) -> None:
    text = TEXT + '[place.web]\nbase = "https://web.example/"\nwrite = true\n'
    stand.catalogue = load_catalogue(text, "test.toml", lambda _: None)
    with pytest.raises(WrongWords):
        await act(stand, what, refs[0], refs[1] if refs[1:] else None)
    with pytest.raises(WrongWords):
        await stand.desk.answer(StageWish(stand.ref("web:a?b"), False), 5)
    assert not {"erase", "rename", "make_folder", "write"} & set(stand.ledger.calls)


async def test_a_doubtful_change_is_told_as_such(stand: Stand) -> None:
    stand.quay.faults["erase"] = MayBeDone()
    with pytest.raises(MayBeDone):
        await act(stand, Act.ERASE, "quay:font.bin")


@pytest.mark.parametrize(
    ("lacks", "wish"),
    [
        (Ability.LIST, ListWish),
        (Ability.READ, lambda ref: ReadWish(ref, 0, 1)),
        (Ability.READ, lambda ref: TextWish(ref, 40, False, Style())),
        (Ability.WRITE, lambda ref: StageWish(ref, False)),
        (Ability.ERASE, lambda ref: ActWish(Act.ERASE, ref)),
        (Ability.MAKE_FOLDER, lambda ref: ActWish(Act.MAKE_FOLDER, ref)),
        (Ability.WRITE, lambda ref: ActWish(Act.COPY, ref, type(ref)(ref.url + "2", ref.place))),
    ],
)
async def test_what_an_adapter_cannot_do_is_502(stand: Stand, lacks: Ability, wish: object) -> None:
    stand.quay.able = ALL & ~lacks
    assert callable(wish)
    asked: Wish = wish(stand.ref("quay:notes.txt"))
    with pytest.raises(NotPossible):
        await stand.desk.answer(asked, 5)  # type: ignore[arg-type]


async def test_a_folder_that_is_really_elsewhere_is_named_so(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Inside its place it is a ref of that; outside a URL like any other, with a URL's rights."""
    for url, ref in (
        (QUAY + "deep/", Ref(QUAY + "deep/", stand.ref("quay:").place)),
        ("ftp://elsewhere.example/", Ref("ftp://elsewhere.example/", None)),
    ):

        async def moved(_: object, target: Target, seconds: float, url: str = url) -> Listing:
            return Listing((), origin="memory://far", url=url)

        monkeypatch.setattr(MemoryFiles, "list", moved)
        listed = await stand.desk.answer(
            ListWish(
                stand.ref("quay:"),
            ),
            5,
        )
        assert isinstance(listed, Listed)
        assert listed.folder == ref


async def test_a_part_that_ends_before_the_document_does_is_no_last_part(stand: Stand) -> None:
    stand.quay.told_size = len(BODY) + 10
    with pytest.raises(BrokenOff, match="Fewer bytes"):
        await stand.desk.answer(ReadWish(stand.ref("quay:font.bin"), 0, len(BODY) + 5, None), 5)


async def test_a_slash_at_the_end_of_a_folder_is_as_meant(stand: Stand) -> None:
    stand.quay.documents[QUAY + "deep/"] = b""
    stand.quay.folders.add(QUAY + "deep/")
    assert (await act(stand, Act.ERASE, "quay:deep/")).code == 250
    assert QUAY + "deep/" not in stand.quay.documents


def slow_to_load(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """A protocol that is used for the first time takes half a second before anything is asked."""
    of = stand.adapters.of

    def slowly(url: str) -> MemoryFiles:
        time.sleep(0.5)
        return of(url)

    monkeypatch.setattr(stand.adapters, "of", slowly)


async def test_150_is_in_time_where_the_work_began_late(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else whoever counts the whole time has told 558 by then. (Found on a computer that was busy.)"""
    stand.quay.hold = asyncio.Event()
    slow_to_load(stand, monkeypatch)
    began = time.monotonic()
    done = await act(stand, Act.COPY, "quay:font.bin", "ledger:font.bin", seconds=2.0)
    assert done.code == 150
    assert 1.5 < time.monotonic() - began < 2.4
    stand.quay.hold.set()
    await stand.jobs.aclose(5)


async def test_150_of_a_store_is_in_time_where_its_delivery_began_late(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand.quay.hold = asyncio.Event()
    staged = await stand.desk.answer(StageWish(stand.ref("quay:a.txt"), False), 5)
    assert isinstance(staged, Staged)
    stand.desk.take(DataWish(staged.staging, b"mine"))
    slow_to_load(stand, monkeypatch)
    began = time.monotonic()
    done = await stand.desk.answer(DeliverWish(staged.staging), 2.0)
    assert isinstance(done, Done)
    assert done.code == 150
    assert 1.5 < time.monotonic() - began < 2.4
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
