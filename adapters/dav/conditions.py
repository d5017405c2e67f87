"""What was seen of a document, what is seen now -> whether it is still the same; and what a server is told.

RFC 4918 section 10.4 (If), RFC 9110 section 13.1 (If-Match, If-None-Match). Servers differ: some ignore
conditions, one refuses every If about a destination, one forgets ETags in PROPFIND. So what was seen is
compared here, just before the change, and the server is asked for the same besides.
"""

import re
from typing import Final

from adapters.errors import WrongDocument
from adapters.files import A_FOLDER, Condition, Kind, Stat, Was, unmet

_ETAG: Final = re.compile(r'(?P<weak>[Ww]/)?"(?P<opaque>[!#-~\x80-\xff]*)"')  # RFC 9110 section 8.8.3

Headers = tuple[tuple[str, str], ...]


def same_document(one: Stat, other: Stat) -> bool:
    """Whether two looks saw the same, by what both of them tell.

    ETags are compared weakly (RFC 9110 section 8.8.3.2): a server calls one weak while its file is new.
    """
    if one.kind is not other.kind:
        return False
    if one.size is not None and other.size is not None and one.size != other.size:
        return False
    etags = opaque_etag(one), opaque_etag(other)
    if etags[0] is not None and etags[1] is not None:
        return etags[0] == etags[1]
    return one.modified is None or other.modified is None or one.modified == other.modified


def unchanged(one: Stat | None, other: Stat | None) -> bool:
    """The same, where there may be nothing."""
    if one is None or other is None:
        return one is other
    return same_document(one, other)


def check(condition: Condition, now: Stat | None) -> None:
    """ChangedMeanwhile where the condition does not hold; WrongDocument where a folder is."""
    if now is not None and now.kind is not Kind.FILE:
        raise WrongDocument(A_FOLDER)
    if condition is Was.NOTHING and now is not None:
        raise unmet(condition)
    if isinstance(condition, Stat) and (now is None or not same_document(condition, now)):
        raise unmet(condition)


def opaque_etag(stat: Stat) -> str | None:
    """What is between the quotes."""
    found = _ETAG.fullmatch(stat.validators.etag or "")
    return None if found is None else found["opaque"]


def move_condition(url: str, now: Stat | None) -> Headers:
    """For a MOVE that replaces what is at `url`: it is to be what was seen."""
    if now is None or opaque_etag(now) is None:
        return ()
    return (("If", f"<{url}> ([{now.validators.etag}])"),)


def put_condition(now: Stat | None) -> Headers:
    """The same for a PUT. A weak ETag never matches (RFC 9110 section 13.1.1)."""
    if now is None:
        return (("If-None-Match", "*"),)
    etag = now.validators.etag
    return (("If-Match", etag),) if etag is not None and etag.startswith('"') else ()
