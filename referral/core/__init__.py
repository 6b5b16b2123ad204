"""Pure computation: films to readings, plans to predictions, limits to findings.

NumPy and the standard library only. No files, clock, chance or framework.
"""
