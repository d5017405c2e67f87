"""Task -> a BASIC program, one module a trait; `numbered` has what those with line numbers share.

No BASIC here has a clock that all of its kind have, so none gives up waiting for a line. Where a check is
wanted, a garbled line is asked for again, and so is NOOP where its answer, which ends what was left of a
reply, is garbled itself. What a program still waits for without end: a line whose end was lost, and NOOP's
answer where it and the status line before it are both garbled, unless the window is one line. Then nothing
tells which line was the answer. Whoever sees that breaks the program off and runs it again.
"""
