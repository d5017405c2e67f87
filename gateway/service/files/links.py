"""URLs as an HTML page means them -> refs of the place that the page is in."""

from collections.abc import Sequence
from typing import Final

from gateway.catalogue.calling.targets import Ref

_WEB: Final = {"dav": "http", "davs": "https"}


def page_url(url: str) -> str:
    """The URL against which a page's links are resolved: a WebDAV folder's are HTTP."""
    scheme, colon, rest = url.partition(":")
    return _WEB.get(scheme, scheme) + colon + rest


def link_refs(ref: Ref, links: Sequence[str]) -> tuple[str, ...]:
    """Absolute URLs as a client can type them: inside the page's place as `PLACE:path`."""
    if ref.place is None:
        return tuple(links)
    base = page_url(ref.place.base)
    return tuple(
        f"{ref.place.name}:{link.removeprefix(base)}" if link.startswith(base) else link for link in links
    )
