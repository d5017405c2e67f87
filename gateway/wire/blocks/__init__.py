"""bytes <-> documents in numbered blocks: XMODEM and YMODEM, both ways, without I/O.

Every sender and receiver is driven alike: `feed` it what came, call `at` once `due` has come, and do what
it gives in order: `Send` before the next effect, `Block` and `Ended` before the `Send` that acknowledges
them. `now` is any clock in seconds that moves on between what was sent and its answer.
"""
