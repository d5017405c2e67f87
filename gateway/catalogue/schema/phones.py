"""[phone.NUMBER] -> the phone book: numbers, and the places that they call."""

import re
from collections.abc import Mapping
from typing import Final

from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.model import Place
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table

_NUMBER: Final = re.compile(r"[0-9]{1,20}")


def read_phones(top: Table, places: Mapping[str, Place | None]) -> dict[str, str]:
    """Each number, and the name of its place in upper case."""
    phones: dict[str, str] = {}
    for number, values in (top.table("phone") or {}).items():
        path = (*top.at("phone"), number)
        if not isinstance(values, dict):
            top.report.at_key(path, shown(values), "a table: [phone.NUMBER]")
            continue
        if _NUMBER.fullmatch(number) is None:
            top.report.at_key(path, f"the number {shown(number)}", "1 to 20 digits, as [phone.5550100]")
        table = Table(top.report, "phone", path, values)
        dial = table.text("dial")
        if dial is None:
            continue
        name = dial.upper().removesuffix(":")
        if name not in places and top.report.intact(("place",)):
            known = " ".join(sorted(each.lower() for each in places)) or "this file has no places"
            table.wrong("dial", f"{shown(dial)}, which is no place", nearest(dial, places).lower(), known)
        phones[number] = name
    return phones
