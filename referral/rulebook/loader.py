"""Read a folder of rule files into one rulebook, or say everything that is wrong with it."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any

from referral.core.rules.rule import Rule, Rulebook
from referral.rulebook.faults import Fault, FaultList, RulebookFault
from referral.rulebook.rule_file import RuleFile, read_rule_file

__all__ = ["Rulebook", "RulebookFault", "content_hash", "load_rulebook", "read_rule_files"]

SHIPPED = Path(__file__).parent


def load_rulebook(root: Path | None = None, practice: Path | None = None) -> Rulebook:
    """Return the rulebook of a folder, the shipped one if none is named.

    Parameters
    ----------
    root : Path, optional
        A folder of ``<topic>/<rule id>.toml``.
    practice : Path, optional
        A practice's own folder of the same form; its limits take the place of the
        shipped ones on the same measure, stage and side, never of a red flag.

    Returns
    -------
    Rulebook
        Rules by id, and the SHA-256 of their content.

    Raises
    ------
    RulebookFault
        If anything in any file is wrong; lists every fault.

    Examples
    --------
    >>> len(load_rulebook().rules) >= 12
    True
    """
    found = read_rule_files(root or SHIPPED, "shipped")
    if practice is not None:
        found = (*found, *read_rule_files(practice, "practice"))
    _check_ids(found)
    rules = tuple(sorted((each.rule for each in found), key=lambda rule: rule.id))
    return Rulebook(rules, content_hash(rules))


def read_rule_files(root: Path, origin: str) -> tuple[RuleFile, ...]:
    """Return every rule file below a folder, with its examples, in order of path.

    Raises
    ------
    RulebookFault
        If there is no file, or anything in any file is wrong.

    Examples
    --------
    >>> all(each.examples for each in read_rule_files(SHIPPED, "shipped"))
    True
    """
    found, faults = [], []
    for path in sorted(root.rglob("*.toml")):
        name = path.relative_to(root).as_posix()
        try:
            here = FaultList(name, path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError):
            faults.append(Fault(name, None, "the file cannot be read", "save it as UTF-8 text"))
            continue
        each = read_rule_file(path, root, origin, here)
        faults.extend(here.found)
        found.extend([each] if each else [])
    if not found and not faults:
        faults.append(Fault(str(root), None, "there is no rule file", "add <topic>/<rule id>.toml"))
    if faults:
        raise RulebookFault(faults)
    return tuple(found)


def content_hash(rules: Iterable[Rule]) -> str:
    """Return the SHA-256 of the rules' content in hexadecimal, whatever their order.

    Examples and comments are not content; a title, a sentence or a limit is.

    Examples
    --------
    >>> len(content_hash(()))
    64
    """
    content = {rule.id: _plain(rule) for rule in rules}
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:  # noqa: ANN401 - any part of a rule in, JSON out
    if is_dataclass(value):
        said = {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
        return {name: part for name, part in said.items() if (name, part) != ("change", None)}
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, date) else value


def _check_ids(found: Iterable[RuleFile]) -> None:
    first: dict[str, RuleFile] = {}
    faults = []
    for each in found:
        before = first.setdefault(each.rule.id, each)
        if before is not each:
            wrong = f"the id {each.rule.id} is already that of {before.path}"
            faults.append(Fault(each.path, None, wrong, "take an id that was never used"))
    if faults:
        raise RulebookFault(faults)
