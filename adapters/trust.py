"""CA file or nothing -> an SSLContext that verifies: certificate chain, host name, TLS 1.2 or newer."""

import ssl
from pathlib import Path

import certifi

from adapters.errors import HeadraceError

TrustKey = tuple[str, int, int]
"""A CA file's path, modification time in ns and size: another key means another context."""


def trust_key(ca: str | None) -> TrustKey | None:
    """The file as it is now, or None for the usual anchors. HeadraceError where it cannot be read."""
    if ca is None:
        return None
    try:
        found = Path(ca).stat()
    except (OSError, ValueError) as error:
        raise HeadraceError("The CA file cannot be read") from error
    return ca, found.st_mtime_ns, found.st_size


def trust_context(ca: str | None) -> ssl.SSLContext:
    """A context whose anchors are the PEM file `ca`, or the system's store together with certifi's.

    Costs about 20 ms: make it once and share it. Verification cannot be turned off. Not made with
    ssl.create_default_context, which writes session keys to a file where the environment asks for it.
    HeadraceError where the CA file cannot be used.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)  # verifies chain and host name from the start
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        if ca is not None:
            context.load_verify_locations(cafile=ca)
        else:
            context.set_default_verify_paths()
            context.load_verify_locations(cafile=certifi.where())
    except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
        raise HeadraceError("The CA file cannot be read") from error
    return context
