"""How long functions are, in Python and in JavaScript."""

import ast
import re

CONTROL = frozenset({"if", "for", "while", "switch", "catch", "with", "await"})
_NOT_CODE = re.compile(
    r"//[^\n]*|/\*.*?\*/|`(?:[^`\\]|\\.)*`|'(?:[^'\n\\]|\\.)*'|\"(?:[^\"\n\\]|\\.)*\"", re.DOTALL
)


def python_functions(source: str) -> list[tuple[str, int]]:
    """Return each function with its lines, without those of its docstring."""
    return [
        (f"{node.name}:{node.lineno}", _lines(node) - _docstring_lines(node))
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def _lines(node: ast.stmt) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def _docstring_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return _lines(node.body[0]) if ast.get_docstring(node, clean=False) is not None else 0


def javascript_functions(source: str) -> list[tuple[str, int]]:
    """Return each function body, by the line it opens on, with its lines."""
    code = _NOT_CODE.sub(_blank, source)
    found = []
    for opening in re.finditer("{", code):
        if _opens_function(code[: opening.start()].rstrip()):
            inside = code[opening.start() : _closing(code, opening.start())]
            line = code.count("\n", 0, opening.start()) + 1
            found.append((f"line {line}", inside.count("\n") + 1))
    return found


def _blank(match: re.Match[str]) -> str:
    return "\n" * match[0].count("\n") or " "


def _opens_function(before: str) -> bool:
    if before.endswith("=>"):
        return True
    if not before.endswith(")"):
        return False
    depth = 0
    for at in range(len(before) - 1, -1, -1):
        depth += {")": 1, "(": -1}.get(before[at], 0)
        if depth == 0:
            word = re.search(r"([\w$]*)\s*$", before[:at])
            return word is not None and word[1] not in CONTROL
    return False


def _closing(code: str, start: int) -> int:
    depth = 0
    for at in range(start, len(code)):
        depth += {"{": 1, "}": -1}.get(code[at], 0)
        if depth == 0:
            return at
    return len(code)
