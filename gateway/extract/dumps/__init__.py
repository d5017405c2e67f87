"""Bytes of a document -> records that show them, as the setting `bytes` says (CONTRACT section 5)."""

from gateway.extract.dumps.dump import Dump, dump_for
from gateway.extract.dumps.hexadecimal import HexDump
from gateway.extract.dumps.intel import IntelDump
from gateway.extract.dumps.lines import LineDump

__all__ = ["Dump", "HexDump", "IntelDump", "LineDump", "dump_for"]
