"""a request's word -> what answers it: the requests that need nothing of the conversation's own state."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias

from gateway.session import asking, explaining, helping, telling
from gateway.session.files import acting, listing, reading, storing, texts
from gateway.session.joining import login
from gateway.session.state import State
from gateway.session.steps import Steps
from gateway.session.streams.hearing import hear
from gateway.session.streams.talking import talk
from gateway.wire.replies import Reply

Plain: TypeAlias = Callable[[State, Sequence[str]], Reply]
Wishing: TypeAlias = Callable[[State, Sequence[str]], Steps]

WISHING: Final[Mapping[str, Wishing]] = {
    "ASK": asking.ask,
    "TELL": asking.tell,
    "PICK": asking.pick,
    "LIST": listing.list_folder,
    "TEXT": texts.text,
    "READ": reading.read,
    "STORE": storing.store,
    "APPEND": storing.append,
    "COPY": acting.copy,
    "ERASE": acting.erase,
    "RENAME": acting.rename,
    "MKDIR": acting.make_folder,
    "TALK": talk,
    "HEAR": hear,
    "LOGIN": login,
}
PLAIN: Final[Mapping[str, Plain]] = {
    "LAYOUT": asking.layout,
    "SOURCES": asking.sources,
    "BASE": listing.base,
    "NAME": listing.name,
    "SET": telling.set_settings,
    "TIME": telling.time,
    "NOOP": telling.noop,
    "HELP": helping.help_words,
    "WHY": explaining.why,
}
