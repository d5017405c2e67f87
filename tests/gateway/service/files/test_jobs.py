"""Jobs: done in time, gone on without, one after another at one target, and never two in a circle."""

import asyncio

import pytest

from adapters import limits
from adapters.errors import HeadraceError, MayBeDone, NoRoom, NotThere
from gateway.service.files.jobs import Job, Jobs


async def nothing() -> None:
    await asyncio.sleep(0)


async def test_what_is_done_in_time_is_250() -> None:
    job = Job("ERASE SHELF:old.txt")
    done = await Jobs().run(job, nothing, ["x://a/1"], 5)
    assert done.code == 250
    assert done.ended()
    assert list(done.progress()) == [("JOB", "ERASE SHELF:old.txt, done")]


async def test_what_takes_longer_is_150_and_goes_on() -> None:
    jobs, job, enough = Jobs(), Job("COPY A:1"), asyncio.Event()

    async def slow() -> None:
        job.size, job.moved = 10, 4
        await enough.wait()
        job.moved, job.checked = 10, "size"

    done = await jobs.run(job, slow, ["x://a/1"], 0.01)
    assert done.code == 150
    assert not done.ended()
    assert list(done.progress()) == [("JOB", "COPY A:1, under way"), ("BYTES", "4 of 10")]
    enough.set()
    await jobs.aclose(5)
    assert done.ended()
    assert list(done.progress()) == [
        ("JOB", "COPY A:1, done"),
        ("BYTES", "10 of 10"),
        ("CHECKED", "by its size"),
    ]


async def test_150_is_not_said_before_it_is_noted() -> None:
    """However slow the disk is: what is not noted would be lost with the gateway."""
    jobs, enough, noted = Jobs(), asyncio.Event(), list[str]()

    async def note() -> None:
        await asyncio.sleep(0.05)
        noted.append("it")

    async def waits() -> None:
        await enough.wait()

    assert (await jobs.run(Job("one"), waits, ["x://a/1"], 0, first=note)).code == 150
    assert noted == ["it"]
    enough.set()
    await jobs.aclose(5)


async def test_what_ends_before_it_has_begun_keeps_nobody() -> None:
    jobs = Jobs()
    waiting = asyncio.create_task(jobs.run(Job("one"), nothing, ["x://a/1"], 5))
    await asyncio.sleep(0)
    await jobs.aclose(0)
    await asyncio.wait({waiting}, timeout=5)
    assert waiting.done()


async def test_a_fault_in_time_is_raised_and_a_later_one_is_told() -> None:
    jobs, enough = Jobs(), asyncio.Event()

    async def fails() -> None:
        raise NotThere

    async def fails_later() -> None:
        await enough.wait()
        raise NotThere

    with pytest.raises(NotThere):
        await jobs.run(Job("one"), fails, ["x://a/1"], 5)
    done = await jobs.run(Job("two"), fails_later, ["x://a/1"], 0.01)
    enough.set()
    await jobs.aclose(5)
    assert list(done.progress()) == [("JOB", "two, failed"), ("ERROR", "550 Not there")]


async def test_a_fault_of_our_own_leaves_it_open_what_was_done() -> None:
    async def broken() -> None:
        raise ZeroDivisionError

    with pytest.raises(MayBeDone):
        await Jobs().run(Job("one"), broken, ["x://a/1"], 5)


async def test_a_client_that_gives_up_does_not_stop_it() -> None:
    jobs, ended = Jobs(), asyncio.Event()

    async def work() -> None:
        await asyncio.sleep(0.05)
        ended.set()

    waiting = asyncio.create_task(jobs.run(Job("one"), work, ["x://a/1"], 5))
    await asyncio.sleep(0.01)
    waiting.cancel()
    await asyncio.wait_for(ended.wait(), 5)
    await jobs.aclose(5)


async def test_one_target_is_changed_by_one_at_a_time_and_others_need_not_wait() -> None:
    jobs, within, most = Jobs(), {"x://a/1": 0, "x://a/2": 0}, {"x://a/1": 0, "x://a/2": 0}
    both: list[int] = []

    async def change(url: str) -> None:
        within[url] += 1
        most[url] = max(most[url], within[url])
        both.append(sum(within.values()))
        await asyncio.sleep(0.005)
        within[url] -= 1

    await asyncio.gather(
        *(
            jobs.run(Job(url), lambda url=url: change(url), [url], 5)  # type: ignore[misc]
            for url in ["x://a/1", "x://a/2"] * 5
        )
    )
    assert set(most.values()) == {1}
    assert max(both) == 2


@pytest.mark.parametrize(
    "first", [["a://s/1", "z://t/1"], ["a://s/2", "z://t/1"]], ids=["document", "server"]
)
async def test_what_was_asked_first_is_done_first_whatever_else_it_waits_for(first: list[str]) -> None:
    """Of two COPYs to one document the second one stays: not the first, because its source was taken."""
    jobs, enough, done = Jobs(), asyncio.Event(), list[str]()

    async def waits() -> None:
        await enough.wait()

    async def change(name: str) -> None:
        done.append(name)

    for number in range(limits.TRANSFERS_PER_ORIGIN):
        await jobs.run(Job("busy"), waits, [f"a://s/{number + 1}"], 0, transfers=True)
    await jobs.run(Job("first"), lambda: change("first"), first, 0, transfers=True)
    second = ["b://s/1", "z://t/1"]
    await jobs.run(Job("second"), lambda: change("second"), second, 0.01, transfers=True)
    enough.set()
    await jobs.aclose(5)
    assert done == ["first", "second"]


async def test_copies_there_and_back_do_not_wait_in_a_circle() -> None:
    jobs = Jobs()
    ways = [["x://a/1", "y://b/1"], ["y://b/1", "x://a/1"]] * 8
    done = await asyncio.gather(*(jobs.run(Job("copy"), nothing, urls, 5, transfers=True) for urls in ways))
    assert {each.code for each in done} == {250}


async def test_transfers_at_one_server_are_few_at_a_time() -> None:
    jobs, within, most = Jobs(), 0, 0

    async def change() -> None:
        nonlocal within, most
        within += 1
        most = max(most, within)
        await asyncio.sleep(0.005)
        within -= 1

    await asyncio.gather(
        *(jobs.run(Job("copy"), change, [f"x://a/{each}"], 5, transfers=True) for each in range(9))
    )
    assert most == limits.TRANSFERS_PER_ORIGIN


async def test_there_is_an_end_to_how_many_transfers() -> None:
    jobs, enough = Jobs(), asyncio.Event()

    async def waits() -> None:
        await enough.wait()

    for each in range(limits.JOBS):
        assert (await jobs.run(Job("one"), waits, [f"x://{each}/1"], 0, transfers=True)).code == 150
    with pytest.raises(NoRoom):
        await jobs.run(Job("more"), nothing, ["x://z/1"], 5, transfers=True)
    assert (await jobs.run(Job("short"), nothing, ["x://z/1"], 5)).code == 250
    enough.set()
    await jobs.aclose(5)
    assert (await jobs.run(Job("more"), nothing, ["x://z/1"], 5, transfers=True)).code == 250


async def test_a_server_that_stalls_leaves_room_for_others() -> None:
    jobs, enough = Jobs(), asyncio.Event()

    async def waits() -> None:
        await enough.wait()

    for each in range(limits.JOBS_PER_ORIGIN):
        assert (await jobs.run(Job("one"), waits, [f"x://a/{each}"], 0, transfers=True)).code == 150
    with pytest.raises(NoRoom):
        await jobs.run(Job("more"), nothing, ["x://a/z"], 5, transfers=True)
    with pytest.raises(NoRoom):
        await jobs.run(Job("more"), nothing, ["x://b/z", "x://a/y"], 5, transfers=True)
    assert (await jobs.run(Job("other"), nothing, ["x://b/z"], 5, transfers=True)).code == 250
    enough.set()
    await jobs.aclose(5)
    assert (await jobs.run(Job("more"), nothing, ["x://a/z"], 5, transfers=True)).code == 250


async def test_a_gateway_that_goes_down_breaks_off_what_does_not_end() -> None:
    jobs, job = Jobs(), Job("one")

    async def hangs() -> None:
        await asyncio.Event().wait()

    assert (await jobs.run(job, hangs, ["x://a/1"], 0)).code == 150
    await jobs.aclose(0.01)
    assert isinstance(job.fault, HeadraceError)
    assert job.ended


async def test_this_computers_disk_is_no_far_server() -> None:
    jobs, enough = Jobs(), asyncio.Event()

    async def waits() -> None:
        await enough.wait()

    for each in range(limits.JOBS_PER_ORIGIN):
        urls = [f"file:///shelf/{each}", f"x://{each}/slow"]
        assert (await jobs.run(Job("one"), waits, urls, 0, transfers=True)).code == 150
    assert (await jobs.run(Job("other"), nothing, ["file:///shelf/z"], 5, transfers=True)).code == 250
    enough.set()
    await jobs.aclose(5)
