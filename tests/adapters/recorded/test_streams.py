import pytest

from adapters.errors import NotRecorded
from adapters.port import Call
from adapters.recorded.streams import NoStreams
from adapters.streams import Calling, StreamAdapter


async def test_a_call_on_an_offline_day() -> None:
    adapter = NoStreams()
    assert isinstance(adapter, StreamAdapter)
    with pytest.raises(NotRecorded, match="streams are not recorded"):
        await adapter.open(Calling("tcp://far.example:7"), 1)
    with pytest.raises(NotRecorded, match="streams are not recorded"):
        await adapter.fetch(Call("tcp://far.example:7"), 1)
    await adapter.aclose()
