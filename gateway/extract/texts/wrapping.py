"""One line of printable characters -> lines of at most `width`: breaks stand at blanks where there are any.

Blanks at a break go, and so do those at a line's end, which nobody sees. A line's indentation stays, on its
first piece, as far as its first word still fits behind it. A word longer than the width is cut hard; a marker
of a link always begins a word and is shorter than any width, so that it is never cut.
"""

from collections.abc import Iterator


def wrapped(line: str, width: int) -> Iterator[str]:
    """The pieces of `line`, of which there is always one; none ends in a blank."""
    line = line.rstrip(" ")
    if len(line) <= width:
        yield line
        return
    line = _indented_less(line, width)
    start, size = 0, len(line)
    while size - start > width:
        end = start + width
        if line[end] != " ":
            blank = line.rfind(" ", start, end)
            if blank > start and not line[start:blank].isspace():
                end = blank
        yield line[start:end].rstrip(" ")
        start = end
        while line[start] == " ":
            start += 1
    yield line[start:]


def _indented_less(line: str, width: int) -> str:
    """The line with as much of its indentation as leaves room for its first word."""
    text = line.lstrip(" ")
    indent = len(line) - len(text)
    if not indent:
        return line
    end = text.find(" ", 0, width + 1)
    word = len(text) if end < 0 else end
    if word <= width:
        indent = min(indent, width - word)
    elif indent >= width:
        indent = 0
    return " " * indent + text
