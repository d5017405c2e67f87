"""A minute's worth of `tests.bench.bench_soak` in some seconds: no wrong reply, and nothing stays."""

import asyncio
from pathlib import Path

from tests.bench.bench_soak import gateway, soak


def test_many_clients_and_faults_leave_nothing_behind(tmp_path: Path) -> None:
    """What may stay is kept for a while on purpose: connections to far servers (15 s), two processes."""
    with gateway(tmp_path, 200) as (port, metrics):
        found = asyncio.run(soak(port, metrics, clients=60, seconds=6.0, think=0.5, visits=2_000))
    assert found.seen.wrong == []
    assert found.seen.codes["200"] > 100
    assert found.seen.codes["250"] > 1
    assert found.seen.cut > 1
    for each in (found.after, found.visited):
        assert each.clients == 0
        assert each.tasks <= found.before.tasks + 2
        assert each.descriptors <= found.before.descriptors + 40
