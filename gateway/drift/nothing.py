"""Places before and now -> whether the rows are merely none today, or have gone elsewhere."""

from gateway.drift.places import EACH, Place, Places, below
from gateway.extract.plan import Plan
from gateway.extract.values import Value


def none_now(plan: Plan, now: Places, before: Places) -> bool:
    """Whether what held the rows is still there, and holds nothing else instead of them."""
    place = before.row_place(plan)
    if not before.groups:  # a table, whose headings are all that is left
        return bool(now.leaves.keys() & before.leaves.keys())
    if not place:
        return False
    parent = place[:-1]
    if parent in now.leaves:
        return all(map(_is_empty, now.leaves[parent])) and not _new_below(parent, now, before)
    if not any(each == parent for _, each in now.groups) or not (now.text or place[-1] == EACH):
        return False
    return not _new_below(parent, now, before) and _whole(place, now, before)


def _is_empty(value: Value) -> bool:
    return value is None or (isinstance(value, str | dict | list) and not str(value or "").strip())


def _new_below(parent: Place, now: Places, before: Places) -> bool:
    """Whether something but an attribute is in it that was not."""
    return any(
        each not in before.leaves and rest and not rest[0].startswith("@")
        for each in now.leaves
        if (rest := below(each, parent)) is not None
    )


def _whole(place: Place, now: Places, before: Places) -> bool:
    """Whether others of the kind, which the path leaves out, have all that the rows had."""
    if not any(below(each, place) is not None for each in now.leaves):
        return True
    return all(each in now.leaves for each in before.leaves if below(each, place) is not None)
