"""The modem's side of a serial line (ITU-T V.250), with streams for a telephone network.

V.250 is known here from memory: a section that a comment names is to be read as "from memory".
"""
