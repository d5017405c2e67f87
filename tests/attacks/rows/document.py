"""A document, and what is asked of it -> a row of the table."""

import re
from collections.abc import Callable

from gateway.testing.upstream.answers import Answer
from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_XXE = "OWASP XML External Entity Prevention; CWE-611"
_BOMB = "CWE-776; OWASP XML Security"
_XML = "application/xml"
_JSON = "application/json"


def document_row(
    name: str,
    target: str,
    source: str,
    does: str,
    reply: str,
    make: Callable[[Ground], bytes] | bytes,
    media: str = _JSON,
    *,
    request: str = "PICK far:{path} - $.v:40",
    fields: tuple[str, ...] = (),
    served: bool = False,
    together: bool = False,
) -> Attack:
    """One document at a path of its own, asked for by `request`."""
    path = "doc-" + re.sub(r"[^a-z0-9]+", "-", name.lower())

    def run(ground: Ground) -> str:
        body = make if isinstance(make, bytes) else make(ground)
        lines = ["HTTP/1.1 200 OK", f"Content-Type: {media}", f"Content-Length: {len(body)}", *fields]
        head = "\r\n".join([*lines, "", ""]).encode("latin-1")
        ground.far.on(f"/{path}").add(Answer(head, body))
        said = ground.ask(request.replace("{path}", path))
        trap = len(ground.got("/trap"))
        return f"{said}; the trap was asked for" if trap else said

    return Attack(name, target, source, does, reply, run, served=served, together=together)
