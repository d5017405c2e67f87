"""Content-Type -> media type and charset (RFC 9110 section 8.3.1)."""

import re
from typing import Final

_TOKEN: Final = r"[!#$%&'*+.^_`|~0-9A-Za-z-]+"  # noqa: S105 - RFC 9110 section 5.6.2, no secret
_TYPE: Final = re.compile(rf"\s*({_TOKEN}/{_TOKEN})\s*(?=;|,|\Z)", re.ASCII)
_CHARSET: Final = re.compile(
    rf"""\s*charset\s*=\s*(?:"((?:[^"\\]|\\.)*)"|'?({_TOKEN}?)'?)\s*\Z""", re.ASCII | re.IGNORECASE
)


def _parameters(text: str) -> list[str]:
    """The parts between semicolons that are outside of quotes."""
    return re.findall(r'(?:[^;"]|"(?:[^"\\]|\\.)*"|")+', text)


def media_type(value: str | None) -> tuple[str, str | None]:
    """`type/subtype` in lower case, or nothing, and the charset as the server named it, or None.

    A value that cannot be read is as good as none: what a document is, its bytes tell as well.
    """
    kind = _TYPE.match(value or "")
    if value is None or kind is None:
        return "", None
    charset = None
    for parameter in _parameters(value[kind.end() :]):
        found = _CHARSET.fullmatch(parameter)
        if found is not None and charset is None:
            named = found[2] if found[1] is None else re.sub(r"\\(.)", r"\1", found[1])
            charset = named.strip() or None
    return kind[1].lower(), charset
