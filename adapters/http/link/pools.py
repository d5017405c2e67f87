"""CA file and Guard -> httpcore connections that were opened under exactly those."""

import ssl
from dataclasses import dataclass

import httpcore

from adapters import limits
from adapters.addresses import Guard, Resolver
from adapters.http.link.connections import Connection, Pool
from adapters.http.link.dialing import Dialer
from adapters.http.link.streams import Connect
from adapters.trust import TrustKey, trust_context, trust_key


@dataclass(frozen=True, slots=True)
class _Key:
    tls: bool
    trust: TrustKey | None
    guard: Guard


def _key(scheme: str, ca: str | None, guard: Guard) -> _Key:
    tls = scheme == "https"
    return _Key(tls, trust_key(ca) if tls else None, guard)


class Pools:
    """One pool for plain HTTP or each set of trust anchors, and for each address rule.

    An idle connection is never dialled again, so nothing would check its address for the next call: one to
    a private address, opened for a call that may go there, must not serve a call that may not. Pools
    are therefore kept apart by the rule that their connections were opened under. SSL contexts, which
    are dear, are shared between the pools of one CA file; a changed CA file is a new one.
    """

    def __init__(self, resolve: Resolver, connect: Connect) -> None:
        self._resolve = resolve
        self._connect = connect
        self._pools: dict[_Key, Pool] = {}
        self._contexts: dict[TrustKey | None, ssl.SSLContext] = {}

    async def pool(self, scheme: str, ca: str | None, guard: Guard) -> Pool:
        """The pool; the oldest unused ones are closed where there are too many."""
        key = _key(scheme, ca, guard)
        pool = self._pools.pop(key, None)
        if pool is None:
            pool = Pool(
                ssl_context=self._context(key),
                max_connections=None,  # the gate holds the number down, in fair order
                max_keepalive_connections=limits.IDLE_CONNECTIONS,
                keepalive_expiry=limits.IDLE_SECONDS,
                network_backend=Dialer(guard, self._resolve, self._connect),
            )
        self._pools[key] = pool  # the newest last
        if len(self._pools) > limits.POOLS:
            await self._close_unused(key)
        return pool

    def single(self, scheme: str, ca: str | None, guard: Guard, origin: httpcore.Origin) -> Connection:
        """A connection for one request, outside of every pool. The caller closes it."""
        return Connection(
            origin=origin,
            ssl_context=self._context(_key(scheme, ca, guard)),
            network_backend=Dialer(guard, self._resolve, self._connect),
        )

    async def aclose(self) -> None:
        """Close every connection."""
        pools, self._pools = list(self._pools.values()), {}
        self._contexts = {}
        for pool in pools:
            await pool.aclose()

    def _context(self, key: _Key) -> ssl.SSLContext | None:
        if not key.tls:
            return None  # making one is dear, and plain HTTP has no use for it
        context = self._contexts.get(key.trust)
        if context is None:
            context = self._contexts[key.trust] = trust_context(None if key.trust is None else key.trust[0])
        return context

    async def _close_unused(self, wanted: _Key) -> None:
        for key, pool in list(self._pools.items()):
            if key != wanted and all(connection.is_idle() for connection in pool.connections):
                del self._pools[key]
                await pool.aclose()
            if len(self._pools) <= limits.POOLS:
                break
        used = {key.trust for key in self._pools}
        self._contexts = {trust: each for trust, each in self._contexts.items() if trust in used}
