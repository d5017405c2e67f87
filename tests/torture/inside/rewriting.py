"""headrace's modules as they are imported -> the same with every await a point (PEP 302: an import hook).

`await x` becomes `await awaited(site, releases, x)`, `async with x` is `async with Entered(site, idle, x)`,
and `async for ... in x` is `async for ... in Stepped(site, x)`, in comprehensions too. Lines stay the same.
"""

import ast
import builtins
import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Final, TypeVar

from tests.torture.inside.points import Entered, Stepped, awaited

ROOT: Final = Path(__file__).parents[3]
_TORTURED: Final = ("adapters", "gateway.service")
_RELEASING: Final = {
    "_closed",
    "abort",
    "aclose",
    "cancel",
    "close",
    "close_listening",
    "close_old",
    "discard",
    "drop",
    "end",
    "pop_all",
    "quit",
    "shutdown",
    "stop",
    "wait_closed",
}
"""What gives something back: it does so even where it fails."""

_IDLE: Final = {"_turn", "step", "timeout", "timeout_at", "trying"}
"""What awaits nothing when it is left: ends of time, the breaker, and a turn among the crowd."""

Looped = TypeVar("Looped", ast.AsyncFor, ast.comprehension)


class _Rewriter(ast.NodeTransformer):
    def __init__(self, path: Path) -> None:
        self._path = path.relative_to(ROOT).as_posix()

    def visit_Await(self, node: ast.Await) -> ast.Await:
        self.generic_visit(node)
        callee = node.value.func if isinstance(node.value, ast.Call) else node.value
        name = callee.attr if isinstance(callee, ast.Attribute) else ast.unparse(callee)
        site = ast.Constant(f"await {self._at(node, callee)}")
        surely = isinstance(node.value, ast.Call) and any(
            each.arg == "surely" for each in node.value.keywords
        )
        releases = ast.Constant(surely or name in _RELEASING)
        node.value = _called("__headrace_awaited__", node.value, site, releases)
        return node

    def visit_AsyncWith(self, node: ast.AsyncWith) -> ast.AsyncWith:
        for item in node.items:
            made = item.context_expr
            callee = made.func if isinstance(made, ast.Call) else made
            idle = ast.Constant(isinstance(callee, ast.Attribute) and callee.attr in _IDLE)
            site = ast.Constant(self._at(made, made))
            item.context_expr = _called("__headrace_entered__", made, site, idle)
        self.generic_visit(node)
        return node

    def visit_AsyncFor(self, node: ast.AsyncFor) -> ast.AsyncFor:
        return self._stepped(node)

    def visit_comprehension(self, node: ast.comprehension) -> ast.comprehension:
        if node.is_async:
            return self._stepped(node)
        self.generic_visit(node)
        return node

    def _stepped(self, node: Looped) -> Looped:
        site = ast.Constant(self._at(node.iter, node.iter))
        node.iter = _called("__headrace_stepped__", node.iter, site)
        self.generic_visit(node)
        return node

    def _at(self, node: ast.expr, named: ast.expr) -> str:
        named = named.func if isinstance(named, ast.Call) else named
        return f"{self._path}:{node.lineno} {ast.unparse(named)[:60]}"


def _called(name: str, argument: ast.expr, *before: ast.expr) -> ast.Call:
    call = ast.Call(ast.Name(name, ast.Load()), [*before, argument], [])
    ast.copy_location(call, argument)
    return ast.fix_missing_locations(call)


def rewritten(source: bytes, path: Path) -> CodeType:
    """A module's code."""
    tree = _Rewriter(path).visit(ast.parse(source, str(path)))
    return compile(tree, str(path), "exec")


class _Loader(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        path = self.get_filename(fullname)
        return rewritten(self.get_data(path), Path(path))


class _Finder(MetaPathFinder):
    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if not any(fullname == each or fullname.startswith(f"{each}.") for each in _TORTURED):
            return None
        found = PathFinder.find_spec(fullname, path, target)
        if found is not None and isinstance(found.loader, SourceFileLoader):
            found.loader = _Loader(found.loader.name, found.loader.path)
        return found


def install() -> None:
    """From now on. AssertionError where one of those modules is there already."""
    there = [each for each in sys.modules if each.startswith(_TORTURED)]
    assert not there, there
    vars(builtins).update(
        __headrace_awaited__=awaited, __headrace_entered__=Entered, __headrace_stepped__=Stepped
    )
    sys.meta_path.insert(0, _Finder())
