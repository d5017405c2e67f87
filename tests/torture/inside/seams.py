"""Calls of the system that headrace's code makes -> points: files, sockets, devices, the database, threads.

Each is failed where Python's own library meets the system, so that what pathlib, tempfile, shutil and asyncio
call for headrace is among them; what anything else in the process calls is left alone. A call of the event
loop's, which has no headrace code above it, counts where it is about an internet socket.
"""

import builtins
import fcntl
import io
import os
import socket
import sqlite3
import sys
import termios
import threading
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from functools import wraps
from pathlib import Path
from typing import Any, Final

from tests.torture.inside.points import TORTURE
from tests.torture.inside.rewriting import ROOT

_OURS: Final = tuple(str(ROOT / each) + os.sep for each in ("adapters", "gateway/service"))
_DEEP: Final = 30  # frames between headrace's code and the call
_FILES: Final = [
    "chmod",
    "chown",
    "close",
    "copy_file_range",
    "dup",
    "fchmod",
    "fchown",
    "fdatasync",
    "fstat",
    "fstatvfs",
    "fsync",
    "ftruncate",
    "link",
    "listdir",
    "lseek",
    "lstat",
    "mkdir",
    "open",
    "pread",
    "pwrite",
    "read",
    "readlink",
    "remove",
    "rename",
    "replace",
    "rmdir",
    "scandir",
    "sendfile",
    "stat",
    "statvfs",
    "symlink",
    "truncate",
    "unlink",
    "utime",
    "write",
]
_SOCKETS: Final = [
    "accept",
    "connect",
    "recv",
    "recv_into",
    "recvfrom",
    "send",
    "sendmsg",
    "sendto",
    "setsockopt",
    "shutdown",
]
_TERMINAL: Final = ["tcflush", "tcgetattr", "tcsetattr"]
_DATABASE: Final = [
    "close",
    "commit",
    "execute",
    "executemany",
    "executescript",
    "rollback",
]
_USES: Final = {"close", "flush", "read", "readinto", "readline", "readlines", "seek", "write", "writelines"}
_CLOSING: Final = {"close"}
_ASYNCIOS: Final = {"setsockopt"}
"""What asyncio does for itself, too, before anybody of headrace's knows of the line."""


def _where(deep: int = _DEEP) -> str:
    """The nearest line of headrace's code within so many calls, or nothing."""
    frame = sys._getframe(2)
    for _ in range(deep):
        name = frame.f_code.co_filename
        if name.startswith(_OURS):
            return f"{Path(name).relative_to(ROOT).as_posix()}:{frame.f_lineno}"
        if frame.f_back is None:
            break
        frame = frame.f_back
    return ""


def _failing(kind: str, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    """The same call, which may fail: `close` after it was made, any other before."""

    @wraps(real)
    def call(*args: Any, **more: Any) -> Any:
        where = _where()
        error = TORTURE.due(f"{kind} {where} {name}") if where else None
        if error is None:
            return real(*args, **more)
        if name in _CLOSING:
            real(*args, **more)
        raise error

    return call


class _File:
    """An open file whose every use may fail. Closing it works, even where that fails."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        real = getattr(self._inner, name)
        if name in _USES:
            return _failing("file", f"file.{name}" if name != "close" else "close", real)
        return real

    def __enter__(self) -> "_File":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __iter__(self) -> Any:
        return iter(self._inner)


def _opening(real: Callable[..., Any]) -> Callable[..., Any]:
    opened = _failing("file", "open", real)

    @wraps(real)
    def call(*args: Any, **more: Any) -> Any:
        if args and isinstance(args[0], int):  # a descriptor that is open already: nothing can fail
            return _File(real(*args, **more)) if _where() else real(*args, **more)
        made = opened(*args, **more)
        return _File(made) if _where() else made

    return call


class _Database(sqlite3.Connection):
    """A database whose every use may fail."""


def _side(sock: socket.socket, ports: Collection[int]) -> str:
    """Whose line it is; nothing for what is no line of the internet's, such as the loop's own pipe."""
    if sock.family not in {socket.AF_INET, socket.AF_INET6}:
        return ""
    try:
        port = sock.getsockname()[1]
    except OSError:
        return "far"
    if port not in ports:
        return "far"
    try:
        sock.getpeername()
    except OSError:
        return "door"
    return "client"


def _on_socket(name: str, ports: Collection[int]) -> Callable[..., Any]:
    real = getattr(socket.socket, name)

    @wraps(real)
    def call(sock: socket.socket, *args: Any) -> Any:
        where = _where(1 if name in _ASYNCIOS else _DEEP)
        side = _side(sock, ports)
        ours = side and (where or name not in _ASYNCIOS)
        error = TORTURE.due(f"socket {where or 'loop'} {side} {name}") if ours else None
        if error is not None:
            raise error
        return real(sock, *args)

    return call


def install(ports: Collection[int]) -> None:
    """From now on. `ports` are the gateway's own, as they are at any time."""
    for name in _FILES:
        setattr(os, name, _failing("file", f"os.{name}" if name != "close" else name, getattr(os, name)))
    fcntl.flock = _failing("file", "flock", fcntl.flock)
    fcntl.ioctl = _failing("file", "ioctl", fcntl.ioctl)
    for name in _TERMINAL:
        setattr(termios, name, _failing("terminal", name, getattr(termios, name)))
    io.open = builtins.open = _opening(io.open)
    for name in _SOCKETS:
        setattr(socket.socket, name, _on_socket(name, ports))
    socket.getaddrinfo = _failing("lookup", "getaddrinfo", socket.getaddrinfo)
    for name in _DATABASE:
        setattr(_Database, name, _failing("database", name, getattr(sqlite3.Connection, name)))
    connect = _failing("database", "connect", sqlite3.connect)
    sqlite3.connect = lambda *args, **more: connect(*args, **{"factory": _Database, **more})
    for kind, name in ((ThreadPoolExecutor, "submit"), (threading.Thread, "start")):
        setattr(kind, name, _failing("thread", name, getattr(kind, name)))
