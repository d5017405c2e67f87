"""A recorder that keeps what far servers answer, but not that one was out of reach, as without a network."""

from typing import Final

from adapters.errors import CannotConnect, HeadraceError, TooSlow
from adapters.recorded.exchange import Asked, Content, Failure, Reply
from adapters.recorded.ports import Draft, Recorder

NOT_REACHED: Final = (CannotConnect, TooSlow)
"""What it looks like where there is no network, or a server is down."""

_NOT_KEPT: Final = frozenset(kind.__name__ for kind in NOT_REACHED)


def not_reached(fault: HeadraceError) -> bool:
    """Whether that may be for want of a network."""
    return isinstance(fault, NOT_REACHED)


class AnswersOnly(Recorder):
    """`recorder` without the failures to reach a server."""

    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder

    def draft(self) -> Draft:
        """An exchange that begins now."""
        return _Answer(self._recorder.draft())


class _Answer(Draft):
    def __init__(self, draft: Draft) -> None:
        self._draft = draft

    def add(self, data: bytes) -> None:
        self._draft.add(data)

    def content(self) -> Content:
        return self._draft.content()

    def keep(self, asked: Asked, reply: Reply) -> None:
        if isinstance(reply, Failure) and reply.name in _NOT_KEPT:
            self._draft.drop()
        self._draft.keep(asked, reply)

    def drop(self) -> None:
        self._draft.drop()
