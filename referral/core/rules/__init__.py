"""Limits and rules in, findings out: five answers, each with its reason."""
