"""The cache against a plain description of what it promises, in virtual time."""

import asyncio
from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    FarBusy,
    FarFault,
    TooSlow,
)
from adapters.port import Call, Fetched, Freshness, Validators
from gateway.service.caching.cache import Cache, How, Kept
from tests.gateway.service.caching.far import CALL, PLAIN, SAME
from tests.gateway.service.caching.virtual_time import EPOCH, VirtualLoop


class Askers(RuleBasedStateMachine):
    """The cache against a plain description of what it promises, in virtual time."""

    def __init__(self) -> None:
        super().__init__()
        self.runner = asyncio.Runner(loop_factory=VirtualLoop)
        self.answer: Fetched | FarFault = PLAIN
        self.version = 0
        self.asked = 0
        self.held: tuple[float, int, Freshness] | None = None  # taken, version, what the server said
        self.failed_at: float | None = None

    @initialize()
    def open(self) -> None:
        async def fetch(call: Call, _: float) -> Fetched:
            self.asked += 1
            if isinstance(self.answer, FarFault):
                raise self.answer
            if call.validators.etag == f'"{self.version}"':
                return replace(SAME, freshness=self.answer.freshness)
            return self.answer

        self.cache = Cache(fetch, None, lambda: EPOCH + self.runner.get_loop().time())

    def now(self) -> float:
        return EPOCH + self.runner.get_loop().time()

    @rule(
        age=st.sampled_from([0, 10, 100]),
        no_cache=st.booleans(),
        no_store=st.booleans(),
        tagged=st.booleans(),
    )
    def the_document_changes(self, age: int, no_cache: bool, no_store: bool, tagged: bool) -> None:
        self.version += 1
        self.answer = Fetched(
            b"%d" % self.version,
            validators=Validators(f'"{self.version}"') if tagged else Validators(),
            freshness=Freshness(age, no_store, no_cache),
        )

    @rule(fault=st.sampled_from([TooSlow, CannotConnect, BrokenOff, FarBusy]))
    def the_server_fails(self, fault: type[FarFault]) -> None:
        self.answer = fault("failing")

    @rule(seconds=st.sampled_from([1.0, 6.0, 30.0, 200.0]))
    def time_passes(self, seconds: float) -> None:
        self.runner.run(asyncio.sleep(seconds))

    @rule(
        askers=st.integers(1, 5),
        keep=st.sampled_from([None, 0.0, 20.0]),
        stale=st.sampled_from([None, 50.0, 500.0]),
    )
    def ask(self, askers: int, keep: float | None, stale: float | None) -> None:
        async def main() -> list[Kept | BaseException]:
            asking = (self.cache.get(CALL, 5, keep, stale) for _ in range(askers))
            return await asyncio.gather(*asking, return_exceptions=True)

        before, now = self.asked, self.now()
        results = self.runner.run(main())
        fetches = self.asked - before
        assert fetches <= 1
        for result in results:
            if isinstance(result, Kept):
                self.check(result, keep, stale, now, fetches)
            else:
                assert isinstance(result, FarFault)
                assert isinstance(self.answer, FarFault)
                assert fetches == 1
                assert not self.may_stand_in(keep, stale, now)
        if fetches and isinstance(self.answer, Fetched):
            self.held = (now, self.version, self.answer.freshness)

    def lifetime(self, keep: float | None) -> float:
        assert self.held is not None
        says = self.held[2]
        return keep if keep is not None else 0 if says.no_cache or says.no_store else says.max_age or 0

    def may_stand_in(self, keep: float | None, stale: float | None, now: float) -> bool:
        hit = self.cache._held.get(self.cache.key_of(CALL))
        if hit is None or self.held is None or stale is None:
            return False
        return now - self.held[0] - self.lifetime(keep) <= stale

    def check(self, kept: Kept, keep: float | None, stale: float | None, now: float, fetches: int) -> None:
        if kept.how in {How.FETCHED, How.REVALIDATED}:
            assert fetches == 1
            assert kept.fetched.body == b"%d" % self.version or self.version == 0
            assert kept.age == 0
            return
        assert self.held is not None
        taken, version, _ = self.held
        assert kept.fetched.body == b"%d" % version or version == 0
        assert kept.age == now - taken
        if kept.how is How.FRESH_MEMORY:
            assert fetches == 0
            assert now - taken < self.lifetime(keep)
        else:
            assert kept.stale
            assert stale is not None
            assert now - taken - self.lifetime(keep) <= stale

    @invariant()
    def nothing_is_left_running(self) -> None:
        assert not asyncio.all_tasks(self.runner.get_loop())

    def teardown(self) -> None:
        self.runner.run(self.cache.aclose())
        self.runner.close()


TestAskers = Askers.TestCase
TestAskers.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
