"""LOGIN [member secret] -> who is asking (CONTRACT section 3)."""

from collections.abc import Sequence

from adapters.errors import WrongWords
from gateway.session.state import State
from gateway.session.steps import Steps, granted
from gateway.session.wishes import Accepted, LoginWish
from gateway.wire.replies import Reply


def login(state: State, words: Sequence[str]) -> Steps:
    """LOGIN member secret: 230, or 535. LOGIN alone: logged out, and what a member has seen is forgotten."""
    if not words:
        state.forget_member()
        return Reply(230, state.settings)
    if len(words) != 2:
        raise WrongWords("Wanted: LOGIN [member secret]")
    accepted = yield from granted(LoginWish(words[0].upper(), words[1], state.visitor.address), Accepted)
    state.forget_member()
    state.member = accepted.member
    return Reply(230, state.settings)
