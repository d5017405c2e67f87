"""a column of resolved values + Fold -> one laid-out value.

Only present values take part: neither missing nor null. Without any the result is missing, but a count is 0.
Sums are exact; a mean is rounded once. A value that a number field cannot read leaves sum, mean, min and max
unknown, so the field is all `*`. Ties of min and max go to the first row.
"""

from collections.abc import Sequence
from decimal import Decimal

from gateway.extract.fields import numbers
from gateway.extract.fields.cell import Cell, DateCell, Fit, Group, Laid, TextCell
from gateway.extract.plan import Fold
from gateway.extract.values import MISSING, Value


def fold(cell: Cell, how: Fold, column: Sequence[Value]) -> Laid:
    """What all rows of one column come to."""
    present = [value for value in column if value is not None and value is not MISSING]
    match how:
        case Fold.COUNT:
            return cell.lay_number(Decimal(len(present)))
        case _ if not present:
            return cell.lay(MISSING)
        case Fold.FIRST:
            return cell.lay(present[0])
        case Fold.LAST:
            return cell.lay(present[-1])
        case Fold.MIN | Fold.MAX:
            return _extreme(cell, how, present)
        case Fold.SUM | Fold.MEAN:  # pragma: no branch — mypy knows that these are all
            return _computed(cell, how, present)


def _extreme(cell: Cell, how: Fold, present: Sequence[Value]) -> Laid:
    ordered = [(cell.order(value), value) for value in present]
    readable = [each for each in ordered if each[0].group is Group.READABLE]
    if len(readable) < len(ordered) and not isinstance(cell, TextCell | DateCell):
        return _unknown(cell)
    pick = min if how is Fold.MIN else max
    return cell.lay(pick(readable or ordered, key=lambda each: each[0].key)[1])


def _computed(cell: Cell, how: Fold, present: Sequence[Value]) -> Laid:
    read = [cell.number(value) for value in present]
    known = [number for number in read if number is not None]
    result = numbers.total(known) if len(known) == len(read) else None
    if result is None:
        return _unknown(cell)
    if how is Fold.MEAN:
        result = numbers.mean(result, len(known), cell.decimals)
    return cell.lay_number(result)


def _unknown(cell: Cell) -> Laid:
    return Laid("*" * cell.width, Fit.MISFIT)
