"""Worksheets with what an outside source says their answers are."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[2] / "golden"
MISSING = "missing"


@dataclass(frozen=True)
class Case:
    name: str
    command: str
    exit_status: int
    source: str
    near: dict[str, tuple[float, float]]
    equal: dict[str, Any]

    @property
    def path(self):
        return FOLDER / f"{self.name}.worksheet.json"


def cases():
    found = []
    for path in sorted(FOLDER.glob("*.expected.json")):
        said = json.loads(path.read_text())
        name = path.name.removesuffix(".expected.json")
        found.append(
            Case(name, said["command"], said["exit"], said["source"], said["near"], said["equal"])
        )
    return found


def at(answer, path):
    """Return what stands at a dotted path; findings are found by their rule, wedges by place."""
    value = answer
    for key in path.split("."):
        if isinstance(value, list) and key.isdigit():
            value = value[int(key)]
        elif isinstance(value, list):
            value = next(each for each in value if each["rule"] == key)
        else:
            value = value.get(key, MISSING)
    return value
