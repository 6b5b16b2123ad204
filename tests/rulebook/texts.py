"""Good rule files, which the tests spoil, and what a spoilt one is refused with."""

import pytest

from referral.rulebook.loader import RulebookFault, load_rulebook

GOOD = """\
id = "R90"
title = "Sole depth"
says = "Leave more sole."
kind = "threshold"
measure = "sole_depth_tip_mm"
stage = "after_fit"

[[limits]]
since = 2020-01-01
at_least = 15
unit = "mm"
severity = "caution"
evidence = "textbook"
source = "A book, p. 1"

[[limits]]
since = 2020-01-01
at_least = 10
unit = "mm"
severity = "breach"
evidence = "textbook"
source = "A book, p. 2"

[[examples]]
verdict = "WITHIN"
value = 20

[[examples]]
verdict = "OUTSIDE"
value = 12

[[examples]]
verdict = "TOO_CLOSE"
value = 15
u = 1

[[examples]]
verdict = "CANNOT_TELL"
"""

RECHECK = """\
id = "R91"
title = "Recheck"
says = "Name one."
kind = "presence"
of = "recheck"
stage = "now"

[[limits]]
since = 2020-01-01
severity = "caution"
evidence = "common practice"
source = "No source"

[[examples]]
verdict = "WITHIN"
facts = { recheck_owner = "vet", recheck_on = 2027-01-06 }

[[examples]]
verdict = "OUTSIDE"
facts = { recheck_owner = "vet" }

[[examples]]
verdict = "CANNOT_TELL"
facts = { red_flags = [] }
"""


def write(root, text, name="sole/R90.toml"):
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return root


def faults_of(root):
    with pytest.raises(RulebookFault) as caught:
        load_rulebook(root)
    return [str(fault) for fault in caught.value.faults]
