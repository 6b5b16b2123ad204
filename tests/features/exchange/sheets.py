"""A worksheet to change one thing in."""

import copy
import json

from tests.features.exchange.golden import FOLDER

LEFT_OUT = object()


def a_sheet(name="every_key"):
    """Return a golden worksheet as JSON values."""
    return json.loads((FOLDER / f"{name}.worksheet.json").read_text())


def changed(sheet, path, value):
    """Return the worksheet with another value at a dotted path, or without the key."""
    made = copy.deepcopy(sheet)
    *way, last = path.split(".")
    holder = made
    for key in way:
        holder = holder[int(key)] if isinstance(holder, list) else holder.setdefault(key, {})
    key = int(last) if isinstance(holder, list) else last
    if value is LEFT_OUT:
        del holder[key]
    else:
        holder[key] = value
    return made
