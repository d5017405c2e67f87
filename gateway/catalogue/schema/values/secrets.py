"""`secret = "env:NAME"` -> SecretRef, resolved at once: one that is not there is a mistake now."""

import re
from typing import Final

from gateway.catalogue.document.mistakes import printable
from gateway.catalogue.model import SecretRef
from gateway.catalogue.schema.table import Table

_REF: Final = re.compile(r"env:[A-Za-z_][A-Za-z0-9_]*|file:.+|credential:[A-Za-z0-9_][A-Za-z0-9_.-]*")
_KINDS: Final = ("env", "file", "credential")
_WANTED: Final = {
    "env": "an environment variable that is set",
    "file": "a file that can be read",
    "credential": "a credential that systemd has loaded: LoadCredential=",
}


class OpenToOthers(Exception):
    """The file of a secret may be changed by others; `mode` is its permissions."""

    def __init__(self, mode: int) -> None:
        super().__init__(f"mode {mode:04o}")
        self.mode = mode


class Secrets:
    """The secrets of one file, as they are resolved. Their values are in no message and no repr()."""

    def __init__(self) -> None:
        self.values: dict[SecretRef, str] = {}

    def read(self, table: Table, *, header: bool = False) -> SecretRef | None:
        """The table's `secret`. `header`: it travels in a header field, which takes printable ASCII only."""
        text = table.text("secret")
        if text is None:
            return None
        if not _REF.fullmatch(text):
            kind = text.partition(":")[0].lower()
            if text.startswith(tuple(f"{each}:" for each in _KINDS)):
                table.wrong("secret", f"no usable name after {text.partition(':')[0]}:")
            elif kind in _KINDS:
                table.wrong(
                    "secret", f"{kind}: not in lower case", f"{kind}:" + printable(text[len(kind) + 1 :])
                )
            else:
                table.wrong(
                    "secret", "the secret itself, or a text without env: or file: in front", '"env:NAME"'
                )
            return None
        try:
            value = table.report.read_secret(text)
        except OpenToOthers as fault:
            found = f"{printable(text)}, which others may change ({fault})"
            table.wrong("secret", found, allowed="a file for its owner alone: chmod 600")
            return None
        if value is None:
            wanted = _WANTED[text.partition(":")[0]]
            table.wrong("secret", f"{printable(text)}, which is not there", allowed=wanted)
            return None
        value = value.rstrip("\r\n")
        if not value or not value.isprintable() or (header and not value.isascii()):
            what = "printable ASCII" if header else "printable characters"
            table.wrong(
                "secret", f"{printable(text)}, which is empty or holds other characters", allowed=what
            )
            return None
        ref = SecretRef(text)
        self.values[ref] = value
        return ref
