"""What may not stand in our files: a machine's paths, registries, checks silenced unreasoned."""

import ast
import io
import re
import tokenize

from tests.house.tree import ROOT, our_files, text_of

# Written with brackets, so that this file does not hold what it looks for.
MACHINE_PATHS = re.compile(
    r"/w[o]rk/|/f[a]rm/|/r[o]ot/\.|/t[m]p/|/h[o]me/\w|/o[p]t/(?:wheels|pypi)|\.[l]ibrary\b"
)
REGISTRIES = re.compile(r"p[y]pi\.org|p[y]thonhosted|n[p]mjs|d[e]b\.debian\.org|u[n]pkg\.com")
SILENCED = re.compile(r"#\s*(?:noqa|type:\s*ignore|pragma:\s*no\s*(?:cover|branch))", re.IGNORECASE)
REASONED = (
    re.compile(r"# noqa: [A-Z]+[0-9]+(?:, [A-Z]+[0-9]+)* - \w"),
    re.compile(r"# type: ignore\[[a-z-]+(?:, ?[a-z-]+)*\]  # \w"),
    re.compile(r"# pragma: no (?:cover|branch) - \w"),
)
PASSED_OVER = frozenset({"skip", "skipif", "xfail", "importorskip"})


def holding(pattern):
    return [
        f"{path}:{number}: {line.strip()[:100]}"
        for path in our_files()
        for number, line in enumerate((text_of(path) or "").split("\n"), start=1)
        if pattern.search(line)
    ]


def test_no_file_names_a_place_on_one_machine():
    assert holding(MACHINE_PATHS) == []


def test_no_file_names_a_registry():
    assert holding(REGISTRIES) == []


def test_a_silenced_check_names_its_code_and_its_reason():
    wrong = [
        f"{path}:{token.start[0]}: {token.string}"
        for path in our_files(".py")
        for token in tokenize.generate_tokens(io.StringIO((ROOT / path).read_text()).readline)
        if token.type == tokenize.COMMENT
        and SILENCED.search(token.string)
        and not any(each.search(token.string) for each in REASONED)
    ]
    assert wrong == []


def test_no_test_is_passed_over():
    wrong = [
        f"{path}:{node.lineno}: {ast.unparse(node)}"
        for path in our_files(".py")
        if path.startswith("tests/")
        for node in ast.walk(ast.parse((ROOT / path).read_text()))
        if isinstance(node, ast.Attribute)
        and node.attr in PASSED_OVER
        and ast.unparse(node.value) in {"pytest", "pytest.mark", "mark", "unittest"}
    ]
    assert wrong == []
