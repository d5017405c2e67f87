"""what a gateway has done for its clients -> counts."""

from collections import Counter
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Counts:
    """`replies` by their code, `refused` clients by the reason they were told, `logins` by their outcome."""

    replies: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    logins: Counter[str] = field(default_factory=Counter)
