"""a catalogue's far servers -> what stands in the way of reaching them: names, certificates, clocks apart.

Each web server is asked once, by HEAD, for what it answers anybody. Others are only looked up.
"""

import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from socket import SOCK_STREAM, getaddrinfo
from typing import Final

import httpx

from adapters import limits
from adapters.trust import trust_context
from gateway.catalogue.calling.addresses import is_literal_host, split_url
from gateway.catalogue.model import Catalogue
from gateway.commands.findings import DAY, SOON, Finding, Patient
from gateway.service.doors import where

_WEB: Final = {"http": "http", "https": "https", "dav": "http", "davs": "https"}


@dataclass(frozen=True, slots=True)
class Answered:
    """How a web server answered: when its certificate ends, and how many seconds its clock is ahead."""

    ends: float | None
    ahead: float | None


def names(patient: Patient) -> Iterator[Finding]:
    """Names of far servers that lead nowhere."""
    for host, port in sorted(frozenset().union(*patient.catalogue.origins.values())):
        if host != "localhost" and is_literal_host(host):
            continue
        try:
            getaddrinfo(host, port, type=SOCK_STREAM)
        except OSError as error:
            why = f"it cannot be looked up ({error.strerror or error})"
            yield Finding(host, why, "look at the name, and at this computer's DNS")


def web(patient: Patient) -> Iterator[Finding]:
    """Web servers that cannot be reached, whose certificates are not good or end soon, and whose clocks are
    elsewhere than ours: where most are, ours is wrong.
    """
    apart: list[float] = []
    told = 0
    for origin, ca in sorted(_origins(patient.catalogue), key=str):
        try:
            found = _asked(origin, ca)
        except (httpx.HTTPError, ssl.SSLError, OSError) as error:
            yield _unreached(origin, error)
            continue
        days = None if found.ends is None else int((found.ends - patient.now) // DAY)
        if days is not None and days < SOON:
            do = "whoever runs it has to renew it"
            yield Finding(origin, f"its certificate ends in {days} days", do, caution=True)
        if found.ahead is not None:
            told += 1
            if abs(found.ahead) > limits.CLOCK_SECONDS:
                apart.append(found.ahead)
    if apart:
        middle = sorted(apart)[len(apart) // 2]
        how = f"{abs(middle):.0f} seconds {'behind' if middle > 0 else 'ahead of'}"
        why = f"it is {how} what {len(apart)} of {told} far servers say"
        yield Finding("the clock", why, "set it, or have it set by NTP", caution=2 * len(apart) <= told)


def _origins(catalogue: Catalogue) -> set[tuple[str, str | None]]:
    """Scheme, host and port of each web server, and the file of its authority. Not where an arg says more of
    that than the catalogue.
    """
    named = [(each.base, each.ca) for each in catalogue.places.values()]
    named += [(each.url, each.ca) for each in catalogue.sources.values() if "://" in each.url]
    found = set()
    for text, ca in named:
        scheme, _, rest = text.partition("://")
        host = rest.partition("/")[0]
        if scheme in _WEB and "{" not in host:
            url = split_url(f"{scheme}://{host}/")
            assert url.port is not None  # each of these has a usual one
            found.add((f"{_WEB[scheme]}://{where(url.host, url.port)}", ca))
    return found


def _asked(origin: str, ca: str | None) -> Answered:
    asking = httpx.Client(verify=trust_context(ca), trust_env=False, timeout=limits.LIVE_SECONDS)
    with asking as client, client.stream("HEAD", f"{origin}/") as answer:
        secured = answer.extensions["network_stream"].get_extra_info("ssl_object")
        ends = None
        if secured is not None:
            ends = ssl.cert_time_to_seconds(str(secured.getpeercert()["notAfter"]))
        return Answered(ends, _ahead(answer.headers.get("date", ""), datetime.now(UTC)))


def _ahead(text: str, now: datetime) -> float | None:
    """By its Date field (RFC 9110 section 6.6.1), which counts whole seconds."""
    try:
        return (parsedate_to_datetime(text) - now).total_seconds()
    except (ValueError, TypeError):
        return None


def _unreached(origin: str, error: Exception) -> Finding:
    cause: BaseException | None = error
    while cause is not None and not isinstance(cause, ssl.SSLCertVerificationError):
        cause = cause.__cause__ or cause.__context__
    if isinstance(cause, ssl.SSLCertVerificationError):
        why = f"its certificate is not taken ({cause.verify_message.rstrip('.')})"
        return Finding(origin, why, "look at its name and at ca, and at this computer's clock")
    why = f"it cannot be reached ({str(error) or type(error).__name__})"
    return Finding(origin, why, "look at its name, and whether it runs", caution=True)
