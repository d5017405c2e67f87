"""Limits: each named once, positive, and with its reason beside it."""

import re
from pathlib import Path

from adapters import limits

TEXT = Path(limits.__file__).read_text(encoding="utf-8")


def test_every_limit_is_positive_and_says_what_it_bounds() -> None:
    found = re.findall(r"^([A-Z0-9_]+): Final = [^#\n]+  # (\S.+)$", TEXT, re.MULTILINE)
    named = [name for name in vars(limits) if name.isupper()]
    assert sorted(name for name, _ in found) == sorted(named)
    assert all(getattr(limits, name) > 0 for name in named)


def test_the_contracts_own_numbers() -> None:
    """CONTRACT sections 1, 2 and 5."""
    assert limits.LINE_BYTES == 255
    assert limits.PAGE_RECORDS == 99_999
    assert limits.RECORD_WIDTH == 255
    assert limits.COLUMNS_MIN == 16
