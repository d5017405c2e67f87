"""What joins a gateway and the one that follows it (see also `tests/gateway/commands/test_handover.py`)."""

import asyncio
import socket

from gateway.service.running.following import FREE, USED, Tether, tether


async def both() -> tuple[Tether, Tether]:
    ours, theirs = socket.socketpair()
    return await tether(ours), await tether(theirs)


async def test_who_waits_for_the_end_listens_to_the_last_words() -> None:
    one, other = await both()
    waiting = asyncio.create_task(one.gone(5))
    other.say(USED, {"a": [1, 2]})
    other.say(FREE, 8200)
    await asyncio.sleep(0.01)
    assert not waiting.done()
    await other.aclose()
    await asyncio.wait_for(waiting, 1)
    await one.aclose()
    one.say(FREE)  # nobody is there any more: nothing comes of it


async def test_who_waits_for_the_end_waits_so_long_and_no_longer() -> None:
    one, other = await both()
    began = asyncio.get_running_loop().time()
    await one.gone(0.05)
    assert 0.04 < asyncio.get_running_loop().time() - began < 1
    other.say(USED, [1])
    assert await one.heard() == (USED, [1])
    await one.aclose()
    assert await other.heard() is None
    await other.aclose()
