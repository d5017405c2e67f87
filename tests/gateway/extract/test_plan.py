"""A plan's width: its fields and the gaps between them."""

import pytest

from gateway.extract.plan import Field, Plan


@pytest.mark.parametrize(
    ("widths", "gap", "width"), [((5,), 1, 5), ((5, 3), 1, 9), ((5, 3, 2), 0, 10), ((5, 3), 4, 12)]
)
def test_width(widths: tuple[int, ...], gap: int, width: int) -> None:
    fields = tuple(Field(f"F{number}", each) for number, each in enumerate(widths))
    assert Plan(fields, gap=gap).width == width
