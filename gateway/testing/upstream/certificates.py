"""good, expired, other-host, stranger -> a server's TLS context, and the file of the authority to trust."""

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

CERTIFICATES: Final = ("good", "expired", "other-host", "stranger")
"""stranger: good in itself, but of an authority that is not the one in the file."""

_NAME: Final = "An authority for tests (invented)"
_HOSTS: Final = ("127.0.0.1", "localhost")


def tls(kind: str, folder: Path) -> tuple[ssl.SSLContext, Path]:
    """The context, and the PEM file in `folder` that a catalogue names as `ca`. ValueError: no such kind."""
    import trustme  # noqa: PLC0415 - eight megabytes that only servers with TLS need

    if kind not in CERTIFICATES:
        raise ValueError(f"a certificate is {' '.join(CERTIFICATES)}")
    authority = trustme.CA(organization_name=_NAME)
    trusted = trustme.CA(organization_name=_NAME) if kind == "stranger" else authority
    ca = folder / "ca.pem"
    trusted.cert_pem.write_to_path(str(ca))
    hosts = ("elsewhere.example",) if kind == "other-host" else _HOSTS
    ended = datetime.now(UTC) - timedelta(days=1) if kind == "expired" else None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert(*hosts, not_after=ended).configure_cert(context)
    return context, ca
