"""TEXT: a document as wrapped plain text -> its lines, and the links that `#n` stands for."""

from collections.abc import Sequence

from gateway.session.files.numbering import NumberedLinks
from gateway.session.files.refs import typed_ref, wanted
from gateway.session.state import State
from gateway.session.steps import Steps, granted
from gateway.session.wishes import Texted, TextWish


def text(state: State, words: Sequence[str]) -> Steps:
    """TEXT ref [flow]: lines `cols` wide; with `flow` those of a paragraph are joined."""
    if not 1 <= len(words) <= 2 or (len(words) == 2 and words[1].lower() != "flow"):
        raise wanted("TEXT ref [flow]", len(words) > 1)
    room = state.room
    state.check_width(room)
    ref = typed_ref(state, words[0])
    wish = TextWish(ref, room, len(words) == 2, state.style)
    texted = yield from granted(wish, Texted)
    if texted.links:  # a text that shows no numbers leaves those that the client has seen last
        state.numbered = NumberedLinks(texted.links, placed=ref.place is not None)
    facts = [("LINES", f"{len(texted.lines)} in all"), ("LINKS", f"{len(texted.links)} numbered")]
    if texted.limited:
        facts.append(("LIMIT", "the rest of the document was left out"))
    state.account(texted.provenance, facts)
    return state.paged(texted.lines, room, limited=texted.limited, account=texted.provenance)
