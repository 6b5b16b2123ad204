"""The core is arithmetic: what it may import is checked on its syntax trees, not on trust."""

import ast
import sys
import tomllib

from tests.house.tree import ROOT, our_files

TOUCHES_THE_WORLD = frozenset(
    """
    asyncio builtins concurrent ctypes http importlib io logging mmap multiprocessing os pathlib
    pickle platform random secrets select shutil signal socket sqlite3 ssl subprocess sys tempfile
    threading time urllib uuid
    """.split()  # noqa: SIM905 - a list of words reads best as one
)
CALLS_REFUSED = frozenset({"open", "print", "input", "exec", "eval", "__import__"})
CLOCK_READERS = frozenset({"now", "utcnow", "today"})
NAMES_OF_PACKAGES = {
    "PIL": "pillow",
    "argon2": "argon2-cffi",
    "fontTools": "fonttools",
    "gdcm": "python-gdcm",
}
LIBRARY = frozenset(sys.stdlib_module_names)


def imported(path):
    """Return the dotted names a file imports, wherever it does so."""
    names = set()
    for node in ast.walk(ast.parse((ROOT / path).read_text())):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def is_inside(name, *packages):
    return any(name == each or name.startswith(f"{each}.") for each in packages)


def test_the_core_imports_numpy_the_standard_library_and_itself():
    wrong = [
        f"{path}: {name}"
        for path in our_files(".py")
        if path.startswith("referral/core/")
        for name in imported(path)
        if not is_inside(name, "numpy", "referral.core", *LIBRARY - TOUCHES_THE_WORLD)
    ]
    assert wrong == []


def test_the_rulebook_imports_the_standard_library_and_the_core():
    wrong = [
        f"{path}: {name}"
        for path in our_files(".py")
        if path.startswith("referral/rulebook/")
        for name in imported(path)
        if not is_inside(name, "referral.core", "referral.rulebook", *LIBRARY)
    ]
    assert wrong == []


def test_the_core_neither_opens_prints_nor_reads_the_clock():
    wrong = [
        f"{path}:{node.lineno}: {ast.unparse(node.func)}"
        for path in our_files(".py")
        if path.startswith("referral/core/")
        for node in ast.walk(ast.parse((ROOT / path).read_text()))
        if isinstance(node, ast.Call) and _is_refused(node.func)
    ]
    assert wrong == []


def _is_refused(called):
    if isinstance(called, ast.Name):
        return called.id in CALLS_REFUSED
    return isinstance(called, ast.Attribute) and called.attr in CLOCK_READERS


def test_randomness_in_the_core_comes_from_a_seeded_generator():
    wrong = [
        f"{path}:{node.lineno}: {ast.unparse(node)}"
        for path in our_files(".py")
        if path.startswith("referral/core/")
        for node in ast.walk(ast.parse((ROOT / path).read_text()))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).startswith(("np.random.", "numpy.random."))
        and not (ast.unparse(node.func).endswith(".default_rng") and node.args)
    ]
    assert wrong == []


def test_every_package_that_is_imported_is_declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    declared = {name.partition("[")[0] for name in project["dependencies"]}
    used = {
        name.partition(".")[0]
        for path in our_files(".py")
        if path.startswith("referral/")
        for name in imported(path)
    }
    packages = {
        NAMES_OF_PACKAGES.get(name, name.replace("_", "-"))
        for name in used - LIBRARY - {"referral"}
    }
    assert packages - declared == set()
