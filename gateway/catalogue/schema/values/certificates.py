"""`ca = PATH` -> the path, once whoever reads the file has looked at what is there."""

from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table


def read_ca(table: Table) -> str | None:
    """The path as written, or None. What is there is looked at only where the caller said how."""
    text = table.text("ca")
    if text is None or table.report.check_ca is None:
        return text
    reason = table.report.check_ca(text)
    if reason is not None:
        table.wrong("ca", f"{shown(text)}, which {reason}")
        return None
    return text
