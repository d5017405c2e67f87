"""a Server -> what is seen of it from outside: numbers, and why no further client should be sent there."""

from gateway.service.running.metrics import Number
from gateway.service.server import Server


def numbers(server: Server) -> list[Number]:
    """What it counts."""
    counts = server.counts
    return [
        Number("clients", "Clients that are connected", lambda: server.clients),
        Number("replies", "Replies", lambda: counts.replies, "code", counts=True),
        Number("refused", "Clients that were not let in", lambda: counts.refused, "why", counts=True),
        Number("logins", "What came of LOGIN", lambda: counts.logins, "outcome", counts=True),
        Number("kept_bytes", "Memory of replies that clients may go on with, about", lambda: server.kept),
        *server.crowd.numbers,
        *server.tally.numbers,
    ]


def troubles(server: Server) -> list[str]:
    """Nothing where it is ready; on its loop."""
    if server.stopping:
        return ["It is going down"]
    found = ["It is full"] if server.admission.full else []
    return [*found, *(f"The listener at {each.host}:{each.port} is not open" for each in server.absent)]
