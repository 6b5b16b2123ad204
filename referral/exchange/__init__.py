"""Worksheets in, answers out: the calculator's public face."""
