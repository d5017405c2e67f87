"""Two numbers and an operator -> a number: IEEE 754 arithmetic as XPath 1.0 section 3.5 has it."""

import math


def calculate(left: float, sign: str, right: float) -> float:
    """`left sign right` for `+ - * div mod`; never an error: what has no result is NaN."""
    match sign:
        case "+":
            return left + right
        case "-":
            return left - right
        case "*":
            return left * right
        case "div":
            return _divide(left, right)
    return _remainder(left, right)


def _divide(left: float, right: float) -> float:
    if right != 0:
        return left / right
    if left == 0 or math.isnan(left):
        return math.nan
    return math.copysign(math.inf, left) * math.copysign(1.0, right)


def _remainder(left: float, right: float) -> float:
    """What is left of a division that truncates; it has the sign of the dividend."""
    if math.isinf(left) or right == 0 or math.isnan(left) or math.isnan(right):
        return math.nan
    return math.fmod(left, right)
