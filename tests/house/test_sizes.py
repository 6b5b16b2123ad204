"""A file over 400 lines or a function over 40 is a reason to split."""

from tests.house.lengths import javascript_functions, python_functions
from tests.house.tree import ROOT, our_files

LONGEST_FILE = 400
LONGEST_FUNCTION = 40
GENERATED = "referral/storage/migrations/versions/"


def test_no_file_is_too_long():
    lengths = {
        path: (ROOT / path).read_text().count("\n")
        for path in our_files(".py", ".js", ".css")
        if not path.startswith(GENERATED)
    }
    assert len(lengths) > 100
    assert {path: lines for path, lines in lengths.items() if lines > LONGEST_FILE} == {}


def test_no_python_function_is_too_long():
    assert _too_long(".py", python_functions) == []


def test_no_javascript_function_is_too_long():
    assert _too_long(".js", javascript_functions) == []


def test_lengths_are_counted_as_said():
    python = (
        'def f(\n    a,\n):\n    """Two\n    lines."""\n    return a\n\n\n'
        "class A:\n    async def g(self): ...\n"
    )
    assert python_functions(python) == [("f:1", 4), ("g:10", 1)]
    script = (
        "// function {\nexport function f({ a } = {}) {\n  if (a) {\n    return '{';\n  }\n}\n"
        "const g = (b) => {\n  return `${b} {`;\n};\nclass C {\n  h() { return 1; }\n}\n"
    )
    assert javascript_functions(script) == [("line 2", 5), ("line 7", 3), ("line 11", 1)]


def _too_long(suffix, functions_of):
    return [
        f"{path} {name}: {lines} lines"
        for path in our_files(suffix)
        if not path.startswith(GENERATED)
        for name, lines in functions_of((ROOT / path).read_text())
        if lines > LONGEST_FUNCTION
    ]
