"""A whole own rule to begin from."""

OWN_RULE = """\
id = "HILL01"
title = "Sole depth under the tip before work on hard ground"
says = "Wait for growth, or protect the sole before this horse works on hard ground."
kind = "threshold"
measure = "sole_depth_tip_mm"
stage = "after_fit"

[[limits]]
since = 2026-01-01
at_least = 12
unit = "mm"
severity = "caution"
evidence = "common practice"
source = "Where this figure comes from"

[[examples]]
verdict = "WITHIN"
value = 14

[[examples]]
verdict = "OUTSIDE"
value = 10

[[examples]]
verdict = "TOO_CLOSE"
value = 12.2
u = 0.5

[[examples]]
verdict = "CANNOT_TELL"
"""
